/* Charts as SVG in a page: drawn twice, wide and narrow, and the page's style sheet shows the one
 * that fits. Colours and lines are classes of page.css, so that they follow light, dark and print.
 *
 * Thread: one at a time a stream. */
#ifndef PLANISH_HARNESS_CHART_H
#define PLANISH_HARNESS_CHART_H

#include "harness/report/html.h"

typedef enum {
  PLANISH_AXIS_TIME,      /* s, shown as minutes and seconds */
  PLANISH_AXIS_FREQUENCY, /* Hz, logarithmic */
} PlanishAxis;

/* What a chart shows and how large it is. */
typedef struct {
  const char *says; /* what is to be seen, for who cannot see it */
  PlanishAxis axis;
  double x_low, x_high;
  double y_low, y_high;
  double y_step; /* of the lines across; 0: no scale */
  const char *y_unit;
  double height; /* of the wide one, pixels */
} PlanishChartFrame;

/* One drawing under way. */
typedef struct {
  FILE *out;
  const PlanishChartFrame *frame;
  double width, height;
  double left, right, top, bottom; /* of the field, pixels */
} PlanishChart;

/* Draws into the field; called once for each width. */
typedef void (*PlanishChartDraw)(const PlanishChart *chart, const void *data);

void planish_chart_write(FILE *out, const PlanishChartFrame *frame, PlanishChartDraw draw,
                         const void *data);

double planish_chart_x(const PlanishChart *chart, double value);
/* Held to the field. */
double planish_chart_y(const PlanishChart *chart, double value);

/* A line through points; those that are not finite break it. x(n) = first + n step on a time axis.
 */
void planish_chart_line(const PlanishChart *chart, const char *kind, const double *x,
                        const double *y, size_t count);

/* One wide: the area between `from` and `to`, point by point at first + n step. */
void planish_chart_area(const PlanishChart *chart, const char *kind, double first, double step,
                        const float *from, const float *to, size_t count);

/* A band over the field's whole height. */
void planish_chart_stretch(const PlanishChart *chart, const char *kind, double from, double to);

#endif
