/* Mono fold-down; head and tail enlarged. */
#include "harness/report/chart.h"
#include "harness/report/sections.h"

#include "common/dsp/maths.h"

#define LOWEST (-96.0) /* dBFS, about where 16 bit ends */

static void write_mono_row(FILE *out, const PlanishReportVersion *version)
{
  const PlanishMeasurement *measured = version->measured;
  (void)fputs("<tr><th scope=\"row\">", out);
  planish_html_text(out, version->name);
  (void)fputs("</th><td>", out);
  planish_html_number(out, measured->integrated, 2);
  (void)fputs("</td><td>", out);
  planish_html_number(out, measured->mono_integrated, 2);
  (void)fputs("</td><td>", out);
  planish_html_number(out, measured->mono_loss, 2);
  (void)fputs("</td><td>", out);
  planish_html_number(out, measured->side_rms - measured->mid_rms, 1);
  (void)fputs("</td><td>", out);
  planish_html_number(out, measured->correlation, 2);
  (void)fputs("</td></tr>\n", out);
}

void planish_section_mono(FILE *out, const PlanishPage *page)
{
  const PlanishReportPage *report = page->report;
  bool any = false;
  for (size_t n = 0; n < report->version_count; ++n) {
    any = any || report->versions[n].measured != NULL;
  }
  if (!any) {
    return;
  }
  planish_section_begin(out, "mono", "Mono fold-down");
  (void)fputs("<p>What is left where left and right are added. A mono signal loses 0 LU, unrelated "
              "channels 3 LU; more than that cancels.</p>\n<div class=\"scroll\" tabindex=\"0\" "
              "role=\"group\" aria-label=\"Mono fold-down\"><table><thead><tr><th "
              "scope=\"col\">version</th><th scope=\"col\">stereo, LUFS</th><th "
              "scope=\"col\">mono, LUFS</th><th scope=\"col\">lost, LU</th><th "
              "scope=\"col\">side over mid, dB</th><th "
              "scope=\"col\">correlation</th></tr></thead><tbody>\n",
              out);
  for (size_t n = 0; n < report->version_count; ++n) {
    if (report->versions[n].measured != NULL) {
      write_mono_row(out, &report->versions[n]);
    }
  }
  (void)fputs("</tbody></table></div>\n", out);
  planish_section_end(out);
}

typedef struct {
  const PlanishPage *page;
  bool tail;
  double first; /* s */
  double step;
} Edge;

static void draw_edge(const PlanishChart *chart, const void *data)
{
  const Edge *edge = data;
  const size_t shown[] = {edge->page->mix, edge->page->master};
  static const char *const kinds[] = {"mix", "master"};
  for (size_t v = 0; v < 2; ++v) {
    double x[PLANISH_EDGE_COLUMNS];
    double y[PLANISH_EDGE_COLUMNS];
    if (shown[v] == PLANISH_NO_VERSION) {
      continue;
    }
    const PlanishSurvey *survey = &edge->page->surveys[shown[v]];
    for (size_t n = 0; n < PLANISH_EDGE_COLUMNS; ++n) {
      x[n] = edge->first + ((double)n + 0.5) * edge->step;
      y[n] = planish_level_of((double)(edge->tail ? survey->tail[n] : survey->head[n]));
    }
    planish_chart_line(chart, kinds[v], x, y, PLANISH_EDGE_COLUMNS);
  }
}

static void write_edge(FILE *out, const PlanishPage *page, bool tail)
{
  const PlanishSurvey *survey = &page->surveys[0];
  const double length = tail ? PLANISH_TAIL_SECONDS : PLANISH_HEAD_SECONDS;
  const double end = (double)survey->frames / survey->rate;
  const Edge edge = {page, tail, tail ? end - length : 0.0, length / PLANISH_EDGE_COLUMNS};
  const PlanishChartFrame frame = {
      .says = tail ? "Peak level of mix and master in the last 6 seconds, in dBFS"
                   : "Peak level of mix and master in the first 2 seconds, in dBFS",
      .axis = PLANISH_AXIS_TIME,
      .x_low = edge.first,
      .x_high = edge.first + length,
      .y_low = LOWEST,
      .y_high = 0.0,
      .y_step = 24.0,
      .y_unit = "dBFS",
      .height = 190.0,
  };
  planish_text_print(out, "<figure><figcaption>%s</figcaption>",
                     tail ? "The last 6 seconds" : "The first 2 seconds");
  planish_chart_write(out, &frame, draw_edge, &edge);
  (void)fputs("</figure>\n", out);
}

void planish_section_edges(FILE *out, const PlanishPage *page)
{
  planish_section_begin(out, "edges", "Head and tail");
  (void)fputs(
      "<p>Peak level down to &minus;96 dBFS: a cut beginning, an ending that breaks off, or "
      "noise under a fade shows here.</p>\n<ul class=\"legend\">",
      out);
  if (page->mix != PLANISH_NO_VERSION) {
    planish_legend_entry(out, "mix", page->report->versions[page->mix].name);
  }
  if (page->master != PLANISH_NO_VERSION) {
    planish_legend_entry(out, "master", page->report->versions[page->master].name);
  }
  (void)fputs("</ul>\n", out);
  write_edge(out, page, false);
  write_edge(out, page, true);
  planish_section_end(out);
}

void planish_section_findings(FILE *out, const PlanishPage *page)
{
  const PlanishReportPage *report = page->report;
  if (!report->checked) {
    return;
  }
  planish_section_begin(out, "findings", "The mix on arrival");
  if (report->part != NULL) {
    (void)fputs("<p>Of the whole mix, and in its times.</p>\n", out);
  }
  if (report->finding_count == 0) {
    (void)fputs("<p>Nothing was found that stands in the way of a master.</p>\n", out);
  } else {
    planish_section_list(out, report->findings, report->finding_count);
  }
  planish_section_end(out);
}

void planish_section_settings(FILE *out, const PlanishPage *page)
{
  if (page->report->settings == NULL) {
    return;
  }
  planish_section_begin(out, "settings", "Settings");
  (void)fputs("<pre tabindex=\"0\" aria-label=\"Settings\">", out);
  planish_html_text(out, page->report->settings);
  (void)fputs("</pre>\n", out);
  planish_section_end(out);
}
