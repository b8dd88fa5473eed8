/* The verdict: whether the master landed, its peaks, its faults, beside the mix and references. */
#include "harness/report/html.h"
#include "harness/report/sections.h"

#include <math.h>
#include <stddef.h>

typedef struct {
  const char *name;
  const char *unit;
  size_t offset; /* in PlanishMeasurement */
  int decimals;
} Quantity;

static const Quantity quantities[] = {
    {"integrated loudness", "LUFS", offsetof(PlanishMeasurement, integrated), 2},
    {"true peak", "dBTP", offsetof(PlanishMeasurement, true_peak), 2},
    {"peak to loudness", "LU", offsetof(PlanishMeasurement, plr), 1},
    {"largest short-term loudness", "LUFS", offsetof(PlanishMeasurement, shortterm_max), 1},
    {"loudness range", "LU", offsetof(PlanishMeasurement, range), 1},
    {"densest place, peak to short-term", "LU", offsetof(PlanishMeasurement, psr_min), 1},
    {"correlation of left and right", "", offsetof(PlanishMeasurement, correlation), 2},
};

static double value_of(const PlanishMeasurement *measured, const Quantity *quantity)
{
  return *(const double *)(const void *)((const char *)measured + quantity->offset);
}

static void write_word(FILE *out, const PlanishReportPage *report)
{
  static const char *const words[] = {"Landed", "Missed", "Rendered"};
  static const char *const kinds[] = {"landed", "missed", "rendered"};
  static const char *const signs[] = {"M4 12l5 6L20 5", "M5 5l14 14M19 5L5 19", "M4 12h16"};
  planish_text_print(
      out,
      "<p class=\"verdict %s\"><svg viewBox=\"0 0 24 24\" aria-hidden=\"true\"><path "
      "d=\"%s\"/></svg><strong>%s</strong>",
      kinds[report->verdict], signs[report->verdict], words[report->verdict]);
}

static void write_headline(FILE *out, const PlanishPage *page)
{
  const PlanishReportPage *report = page->report;
  write_word(out, report);
  if (page->master != PLANISH_NO_VERSION && report->versions[page->master].measured != NULL) {
    const PlanishMeasurement *master = report->versions[page->master].measured;
    (void)fputs(" <span class=\"figure\">", out);
    planish_html_number(out, master->integrated, 2);
    (void)fputs(" LUFS</span> <span class=\"figure\">", out);
    planish_html_number(out, master->true_peak, 2);
    (void)fputs(" dBTP</span>", out);
  }
  (void)fputs("</p>\n", out);
  if (isfinite(report->target_loudness) || isfinite(report->target_ceiling)) {
    (void)fputs("<p class=\"target\">Target: ", out);
    planish_html_number(out, report->target_loudness, 2);
    (void)fputs(" LUFS within 0.05 LU, true peak at most ", out);
    planish_html_number(out, report->target_ceiling, 2);
    (void)fputs(report->part == NULL ? " dBTP.</p>\n"
                                     : " dBTP, for the whole; an excerpt is not landed.</p>\n",
                out);
  }
  if (report->reason != NULL) {
    planish_html_element(out, "p", "reason", report->reason);
  }
}

static void write_heading(FILE *out, const PlanishReportPage *report, bool changes)
{
  (void)fputs("<thead><tr><th scope=\"col\">quantity</th>", out);
  for (size_t n = 0; n < report->version_count; ++n) {
    if (report->versions[n].measured != NULL) {
      planish_text_print(out, "<th scope=\"col\">");
      planish_html_text(out, report->versions[n].name);
      (void)fputs("</th>", out);
      if (changes && report->versions[n].kind == PLANISH_VERSION_MASTER) {
        (void)fputs("<th scope=\"col\">change</th>", out);
      }
    }
  }
  (void)fputs("</tr></thead>", out);
}

static void write_quantity(FILE *out, const PlanishPage *page, const Quantity *quantity,
                           const PlanishMeasurement *mix)
{
  const PlanishReportPage *report = page->report;
  planish_text_print(out, "<tr><th scope=\"row\">%s <span class=\"unit\">%s</span></th>",
                     quantity->name, quantity->unit);
  for (size_t n = 0; n < report->version_count; ++n) {
    const PlanishMeasurement *measured = report->versions[n].measured;
    if (measured == NULL) {
      continue;
    }
    (void)fputs("<td>", out);
    planish_html_number(out, value_of(measured, quantity), quantity->decimals);
    (void)fputs("</td>", out);
    if (mix != NULL && report->versions[n].kind == PLANISH_VERSION_MASTER) {
      (void)fputs("<td>", out);
      planish_html_change(out, value_of(measured, quantity) - value_of(mix, quantity),
                          quantity->decimals);
      (void)fputs("</td>", out);
    }
  }
  (void)fputs("</tr>\n", out);
}

void planish_section_verdict(FILE *out, const PlanishPage *page)
{
  const PlanishReportPage *report = page->report;
  const PlanishMeasurement *mix =
      page->mix == PLANISH_NO_VERSION ? NULL : report->versions[page->mix].measured;
  planish_section_begin(out, "verdict", "Verdict");
  write_headline(out, page);
  if (report->fault_count > 0) {
    planish_section_list(out, report->faults, report->fault_count);
  }
  (void)fputs("<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Figures\"><table>",
              out);
  write_heading(out, report, mix != NULL);
  (void)fputs("<tbody>\n", out);
  for (size_t n = 0; n < sizeof quantities / sizeof *quantities; ++n) {
    write_quantity(out, page, &quantities[n], mix);
  }
  (void)fputs("</tbody></table></div>\n", out);
  planish_section_end(out);
}
