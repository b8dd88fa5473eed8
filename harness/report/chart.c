#include "harness/report/chart.h"

#include "common/dsp/maths.h"

#include <math.h>

typedef struct {
  double width;
  double height; /* over that of the wide one */
  double left;
  size_t ticks; /* about as many on a time axis */
  const char *kind;
} Size;

static const Size sizes[] = {{960.0, 1.0, 52.0, 12, "wide"}, {340.0, 0.85, 40.0, 5, "narrow"}};

double planish_chart_x(const PlanishChart *chart, double value)
{
  const PlanishChartFrame *frame = chart->frame;
  const double share = frame->axis == PLANISH_AXIS_FREQUENCY
                           ? log(value / frame->x_low) / log(frame->x_high / frame->x_low)
                           : (value - frame->x_low) / (frame->x_high - frame->x_low);
  return chart->left + share * (chart->right - chart->left);
}

double planish_chart_y(const PlanishChart *chart, double value)
{
  const PlanishChartFrame *frame = chart->frame;
  const double share = (value - frame->y_low) / (frame->y_high - frame->y_low);
  return chart->bottom - planish_clamp(share, 0.0, 1.0) * (chart->bottom - chart->top);
}

static void write_label(const PlanishChart *chart, double x, double y, const char *anchor,
                        const char *text)
{
  planish_text_print(chart->out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\">", x, y, anchor);
  planish_html_text(chart->out, text);
  (void)fputs("</text>", chart->out);
}

static void write_line_up(const PlanishChart *chart, double value)
{
  planish_text_print(chart->out, "M%.1f %.1fV%.1f", planish_chart_x(chart, value), chart->top,
                     chart->bottom);
}

static double time_step(double span, size_t ticks)
{
  static const double steps[] = {0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800};
  size_t n = 0;
  while (n + 1 < sizeof steps / sizeof *steps && span / steps[n] > (double)ticks) {
    n += 1;
  }
  return steps[n];
}

static void draw_times(const PlanishChart *chart, size_t ticks)
{
  const PlanishChartFrame *frame = chart->frame;
  const double step = time_step(frame->x_high - frame->x_low, ticks);
  const int first = (int)ceil(frame->x_low / step - 1e-9);
  const int last = (int)floor(frame->x_high / step + 1e-9);
  (void)fputs("<path class=\"grid\" d=\"", chart->out);
  for (int n = first; n <= last; ++n) {
    write_line_up(chart, step * n);
  }
  (void)fputs("\"/>", chart->out);
  for (int n = first; n <= last; ++n) {
    char label[32];
    const double seconds = step * n;
    planish_text_format(label, sizeof label, step < 1.0 ? "%s%d:%04.1f" : "%s%d:%02.0f",
                        seconds < 0.0 ? PLANISH_MINUS : "", (int)(fabs(seconds) / 60.0),
                        fmod(fabs(seconds), 60.0));
    const double x = planish_chart_x(chart, seconds);
    /* Whole within the picture. */
    write_label(chart, x, chart->bottom + 16.0,
                x < 16.0 || (chart->left > 0.0 && x < chart->left + 8.0) ? "start"
                : x > chart->width - 16.0                                ? "end"
                                                                         : "middle",
                label);
  }
}

static void draw_frequencies(const PlanishChart *chart, bool narrow)
{
  static const struct {
    double hz;
    const char *label;
    bool both;
  } ticks[] = {{31.5, "31", false}, {63, "63", true},    {125, "125", false}, {250, "250", true},
               {500, "500", false}, {1000, "1k", true},  {2000, "2k", false}, {4000, "4k", true},
               {8000, "8k", false}, {16000, "16k", true}};
  (void)fputs("<path class=\"grid\" d=\"", chart->out);
  for (size_t n = 0; n < sizeof ticks / sizeof *ticks; ++n) {
    write_line_up(chart, ticks[n].hz);
  }
  (void)fputs("\"/>", chart->out);
  for (size_t n = 0; n < sizeof ticks / sizeof *ticks; ++n) {
    if (ticks[n].both || !narrow) {
      write_label(chart, planish_chart_x(chart, ticks[n].hz), chart->bottom + 16.0, "middle",
                  ticks[n].label);
    }
  }
}

static void draw_levels(const PlanishChart *chart)
{
  const PlanishChartFrame *frame = chart->frame;
  const int first = (int)ceil(frame->y_low / frame->y_step - 1e-9);
  const int last = (int)floor(frame->y_high / frame->y_step + 1e-9);
  (void)fputs("<path class=\"grid\" d=\"", chart->out);
  for (int n = first; n <= last; ++n) {
    planish_text_print(chart->out, "M%.1f %.1fH%.1f", chart->left,
                       planish_chart_y(chart, frame->y_step * n), chart->right);
  }
  (void)fputs("\"/>", chart->out);
  for (int n = first; n <= last; ++n) {
    char label[32];
    planish_text_format(label, sizeof label, "%s%g", n < 0 ? PLANISH_MINUS : "",
                        fabs(frame->y_step * n));
    write_label(chart, chart->left - 6.0, planish_chart_y(chart, frame->y_step * n) + 4.0, "end",
                label);
  }
  write_label(chart, 0.0, 12.0, "start", frame->y_unit);
}

static void draw_one(FILE *out, const PlanishChartFrame *frame, const Size *size,
                     PlanishChartDraw draw, const void *data)
{
  const bool narrow = size != &sizes[0];
  const PlanishChart chart = {
      .out = out,
      .frame = frame,
      .width = size->width,
      .height = frame->height * size->height,
      .left = frame->y_step > 0.0 ? size->left : 0.0,
      .right = frame->y_step > 0.0 ? size->width - 14.0 : size->width,
      .top = frame->y_step > 0.0 ? 22.0 : 4.0,
      .bottom = frame->height * size->height - 22.0,
  };
  planish_text_print(out,
                     "<svg class=\"chart %s\" viewBox=\"0 0 %.0f %.0f\" role=\"img\" aria-label=\"",
                     size->kind, chart.width, chart.height);
  planish_html_text(out, frame->says);
  (void)fputs("\">", out);
  if (frame->axis == PLANISH_AXIS_TIME) {
    draw_times(&chart, size->ticks);
  } else {
    draw_frequencies(&chart, narrow);
  }
  if (frame->y_step > 0.0) {
    draw_levels(&chart);
  }
  draw(&chart, data);
  (void)fputs("</svg>\n", out);
}

void planish_chart_write(FILE *out, const PlanishChartFrame *frame, PlanishChartDraw draw,
                         const void *data)
{
  for (size_t n = 0; n < sizeof sizes / sizeof *sizes; ++n) {
    draw_one(out, frame, &sizes[n], draw, data);
  }
}

void planish_chart_line(const PlanishChart *chart, const char *kind, const double *x,
                        const double *y, size_t count)
{
  bool drawing = false;
  planish_text_print(chart->out, "<path class=\"line %s\" d=\"", kind);
  for (size_t n = 0; n < count; ++n) {
    const bool there = isfinite(y[n]);
    if (there) {
      planish_text_print(chart->out, "%s%.1f %.1f", drawing ? "L" : "M",
                         planish_chart_x(chart, x[n]), planish_chart_y(chart, y[n]));
    }
    drawing = there;
  }
  (void)fputs("\"/>", chart->out);
}

void planish_chart_area(const PlanishChart *chart, const char *kind, double first, double step,
                        const float *from, const float *to, size_t count)
{
  planish_text_print(chart->out, "<path class=\"area %s\" d=\"", kind);
  for (size_t n = 0; n < count; ++n) {
    planish_text_print(chart->out, "%s%.1f %.1f", n == 0 ? "M" : "L",
                       planish_chart_x(chart, first + (double)n * step),
                       planish_chart_y(chart, (double)to[n]));
  }
  for (size_t n = count; n > 0; --n) {
    planish_text_print(chart->out, "L%.1f %.1f",
                       planish_chart_x(chart, first + (double)(n - 1) * step),
                       planish_chart_y(chart, (double)from[n - 1]));
  }
  (void)fputs("Z\"/>", chart->out);
}

void planish_chart_stretch(const PlanishChart *chart, const char *kind, double from, double to)
{
  const double left = planish_chart_x(chart, from);
  planish_text_print(
      chart->out, "<rect class=\"%s\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>", kind,
      left, chart->top, planish_chart_x(chart, to) - left, chart->bottom - chart->top);
}
