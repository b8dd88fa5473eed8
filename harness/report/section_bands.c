/* Third octaves, punch and low end, the distortion account. */
#include "harness/report/chart.h"
#include "harness/report/sections.h"

#include "common/dsp/maths.h"

#include <math.h>

enum { MOST_BANDS = 64 };

/* The class of a curve; `references` counts those so far. */
static void class_of(const PlanishReportCurve *curve, unsigned *references, char *text, size_t size)
{
  static const char *const kinds[] = {"mix", "stage", "master"};
  if (curve->kind == PLANISH_VERSION_REFERENCE) {
    planish_text_format(text, size, "reference r%u", *references % 4 + 1);
    *references += 1;
  } else {
    planish_text_format(text, size, "%s", kinds[curve->kind]);
  }
}

static void draw_bands(const PlanishChart *chart, const void *data)
{
  const PlanishPage *page = data;
  const PlanishReportBands *bands = page->report->bands;
  /* The dashes of the mix last, so that where it is the master's or a reference's equal, both show.
   */
  for (int mixes = 0; mixes < 2; ++mixes) {
    unsigned references = 0;
    for (size_t n = 0; n < bands->count; ++n) {
      char kind[32];
      class_of(&bands->curves[n], &references, kind, sizeof kind);
      if ((bands->curves[n].kind == PLANISH_VERSION_MIX) == (mixes == 1)) {
        planish_chart_line(chart, kind, bands->hz, bands->curves[n].levels, bands->bands);
      }
    }
  }
}

static void write_legend(FILE *out, const PlanishReportBands *bands)
{
  unsigned references = 0;
  (void)fputs("<ul class=\"legend\">", out);
  for (size_t n = 0; n < bands->count; ++n) {
    char kind[32];
    class_of(&bands->curves[n], &references, kind, sizeof kind);
    planish_legend_entry(out, kind, bands->curves[n].name);
  }
  (void)fputs("</ul>\n", out);
}

static void write_band_table(FILE *out, const PlanishReportBands *bands)
{
  (void)fputs("<details><summary>The figures</summary><div class=\"scroll\" tabindex=\"0\" "
              "role=\"group\" aria-label=\"Third octaves\"><table><thead><tr><th "
              "scope=\"col\">band, Hz</th>",
              out);
  for (size_t n = 0; n < bands->count; ++n) {
    (void)fputs("<th scope=\"col\">", out);
    planish_html_text(out, bands->curves[n].name);
    (void)fputs(", dB</th>", out);
  }
  (void)fputs("</tr></thead><tbody>\n", out);
  for (size_t band = 0; band < bands->bands; ++band) {
    planish_text_print(out, "<tr><th scope=\"row\">%.4g</th>", bands->hz[band]);
    for (size_t n = 0; n < bands->count; ++n) {
      (void)fputs("<td>", out);
      planish_html_number(out, bands->curves[n].levels[band], 1);
      (void)fputs("</td>", out);
    }
    (void)fputs("</tr>\n", out);
  }
  (void)fputs("</tbody></table></div></details>\n", out);
}

void planish_section_bands(FILE *out, const PlanishPage *page)
{
  const PlanishReportBands *bands = page->report->bands;
  if (bands == NULL || bands->bands == 0 || bands->count == 0) {
    return;
  }
  double high = -HUGE_VAL;
  for (size_t n = 0; n < bands->count; ++n) {
    for (size_t band = 0; band < bands->bands; ++band) {
      high = fmax(high, bands->curves[n].levels[band]);
    }
  }
  high = isfinite(high) ? 6.0 * ceil(high / 6.0) : 0.0;
  const PlanishChartFrame frame = {
      .says =
          "Mean levels in third octaves over the integrated loudness, in dB; the figures follow",
      .axis = PLANISH_AXIS_FREQUENCY,
      .x_low = 20.0,
      .x_high = 20000.0,
      .y_low = high - 54.0,
      .y_high = high,
      .y_step = 6.0,
      .y_unit = "dB",
      .height = 320.0,
  };
  planish_section_begin(out, "bands", "Third octaves");
  (void)fputs("<p>Mean level in bands of a third of an octave, over the integrated loudness: what "
              "differs is tone, not level.</p>\n<figure>",
              out);
  planish_chart_write(out, &frame, draw_bands, page);
  write_legend(out, bands);
  (void)fputs("</figure>\n", out);
  write_band_table(out, bands);
  planish_section_end(out);
}

void planish_section_punch(FILE *out, const PlanishPage *page)
{
  const PlanishReportPage *report = page->report;
  if (report->punch == NULL && report->low_end == NULL) {
    return;
  }
  planish_section_begin(out, "punch", "Punch and low end");
  if (report->punch != NULL) {
    (void)fputs(
        "<p>Punch: the first 10 ms of onsets over what follows them, in dB; all by the onsets of "
        "the mix, references by their own.</p>\n",
        out);
    planish_section_table(out, report->punch);
  }
  if (report->low_end != NULL) {
    planish_section_table(out, report->low_end);
  }
  planish_section_end(out);
}

void planish_section_account(FILE *out, const PlanishPage *page)
{
  if (page->report->account == NULL) {
    return;
  }
  planish_section_begin(out, "account", "Loudness won, distortion paid");
  (void)fputs("<p>For each stage and for the whole chain: the loudness it won at equal true peak, "
              "and what that cost. The level part is gain that moves; distortion is what no filter "
              "and no moving gain explains.</p>\n",
              out);
  planish_section_table(out, page->report->account);
  planish_section_end(out);
}
