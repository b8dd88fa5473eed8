/* Gain over time, stage by stage and all together, and the hardest moments. */
#include "harness/report/chart.h"
#include "harness/report/sections.h"

#include "common/dsp/maths.h"

#include <math.h>
#include <stdlib.h>

enum { COLUMNS = 720, MOST_STEPS = 8 };

/* For each column the gain furthest from 0, of one stage, or of all: `count`, else 0. */
static void gather(const PlanishReportGains *gains, size_t count, double duration, float *columns)
{
  for (size_t n = 0; n < COLUMNS; ++n) {
    const double from = duration * (double)n / COLUMNS;
    const double to = duration * (double)(n + 1) / COLUMNS;
    double furthest = 0.0;
    double at = from;
    do {
      const double gain =
          count == 0 ? planish_gain_at(gains, at) : planish_gain_together(gains, count, at);
      furthest = fabs(gain) > fabs(furthest) ? gain : furthest;
      at += gains[0].interval;
    } while (at < to);
    columns[n] = (float)furthest;
  }
}

typedef struct {
  const PlanishPage *page;
  double duration;
  float columns[COLUMNS];
  bool marked;
} Lane;

static void draw_lane(const PlanishChart *chart, const void *data)
{
  static const float zeros[COLUMNS];
  const Lane *lane = data;
  const double step = lane->duration / COLUMNS;
  planish_chart_area(chart, "gain", step / 2.0, step, zeros, lane->columns, COLUMNS);
  for (size_t n = 0; lane->marked && n < lane->page->moment_count; ++n) {
    const double x = planish_chart_x(chart, lane->page->moments[n].at);
    planish_text_print(chart->out, "<path class=\"mark\" d=\"M%.1f %.1fV%.1f\"/>", x, chart->top,
                       chart->bottom);
    if (chart->width > 500.0) {
      planish_text_print(
          chart->out, "<text class=\"mark\" x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">%u</text>",
          x, chart->top - 5.0, (unsigned)n + 1);
    }
  }
}

/* About so many steps of dB in `span`, so that their labels stand clear of each other. */
static double step_of(double span, double most)
{
  static const double steps[] = {1.0, 2.0, 3.0, 6.0, 12.0};
  size_t n = 0;
  while (n + 1 < sizeof steps / sizeof *steps && span / steps[n] > most) {
    n += 1;
  }
  return steps[n];
}

static void write_lane(FILE *out, Lane *lane, const PlanishReportGains *gains, size_t count,
                       const char *says)
{
  double low = 0.0;
  double high = 0.0;
  gather(gains, count, lane->duration, lane->columns);
  for (size_t n = 0; n < COLUMNS; ++n) {
    low = planish_min(low, (double)lane->columns[n]);
    high = planish_max(high, (double)lane->columns[n]);
  }
  const double step = step_of(high - low, lane->marked ? MOST_STEPS : MOST_STEPS / 2);
  const PlanishChartFrame frame = {
      .says = says,
      .axis = PLANISH_AXIS_TIME,
      .x_high = lane->duration,
      .y_low = planish_min(step * floor(low / step), -step),
      .y_high = high > 0.0 ? step * ceil(high / step) : 0.0,
      .y_step = step,
      .y_unit = "dB",
      .height = lane->marked ? 200.0 : 130.0,
  };
  planish_chart_write(out, &frame, draw_lane, lane);
}

static void write_moments(FILE *out, const PlanishPage *page)
{
  const PlanishReportPage *report = page->report;
  const bool named = report->gain_count > 1;
  (void)fputs("<h3>The hardest moments</h3>\n<div class=\"scroll\" tabindex=\"0\" role=\"group\" "
              "aria-label=\"The hardest moments\"><table class=\"moments\"><thead><tr><th "
              "scope=\"col\">moment</th><th scope=\"col\">at</th><th scope=\"col\">gain, dB</th>",
              out);
  (void)fputs(named ? "<th scope=\"col\">most by</th></tr></thead><tbody>\n"
                    : "</tr></thead><tbody>\n",
              out);
  for (size_t n = 0; n < page->moment_count; ++n) {
    const PlanishMoment *moment = &page->moments[n];
    planish_text_print(out, "<tr><th scope=\"row\">%u</th><td>", (unsigned)n + 1);
    planish_text_print(out, "<button type=\"button\" class=\"moment\" data-moment=\"%u\">",
                       (unsigned)n);
    planish_html_time(out, moment->at);
    (void)fputs("</button></td><td>", out);
    planish_html_number(out, moment->gain, 2);
    if (named) {
      (void)fputs("</td><td class=\"words\">", out);
      planish_html_text(out, report->gains[moment->hardest].stage);
      (void)fputs(", ", out);
      planish_html_number(out, moment->its_gain, 2);
    }
    (void)fputs("</td></tr>\n", out);
  }
  (void)fputs("</tbody></table></div>\n", out);
}

static bool any_in_branch(const PlanishReportPage *report)
{
  for (size_t n = 0; n < report->gain_count; ++n) {
    if (report->gains[n].in_branch) {
      return true;
    }
  }
  return false;
}

void planish_section_gains(FILE *out, const PlanishPage *page)
{
  const PlanishReportPage *report = page->report;
  if (report->gain_count == 0) {
    return;
  }
  Lane lane = {.page = page,
               .duration = (double)report->gains[0].count * report->gains[0].interval,
               .marked = true};
  planish_section_begin(out, "gain", "Gain over time");
  planish_text_print(out,
                     "<p>What all stages%s that report a gain lay on together; the lines mark the "
                     "hardest moments below. Each column shows the value furthest from "
                     "0.</p>\n<figure>",
                     any_in_branch(report) ? ", less those in branches," : "");
  write_lane(out, &lane, report->gains, report->gain_count,
             "Gain of all stages together over time, in dB");
  (void)fputs("</figure>\n", out);
  lane.marked = false;
  const bool each = report->gain_count > 1 || any_in_branch(report);
  for (size_t n = 0; each && n < report->gain_count; ++n) {
    char says[256];
    const PlanishReportGains *gains = &report->gains[n];
    planish_text_format(says, sizeof says, "%s, %s over time, in dB", gains->stage, gains->control);
    (void)fputs("<figure class=\"lane\"><figcaption>", out);
    planish_html_element(out, "strong", NULL, gains->stage);
    (void)fputs(" ", out);
    planish_html_text(out, gains->control);
    (void)fputs(gains->in_branch ? ", in a branch</figcaption>" : "</figcaption>", out);
    write_lane(out, &lane, gains, 0, says);
    (void)fputs("</figure>\n", out);
  }
  if (page->moment_count > 0) {
    write_moments(out, page);
  }
  planish_section_end(out);
}
