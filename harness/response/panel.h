/* A diagram in a picture: axes, grid, words and curves, by cairo. Lengths in points.
 *
 * Thread: one at a time a cairo_t. */
#ifndef PLANISH_HARNESS_PANEL_H
#define PLANISH_HARNESS_PANEL_H

#include <cairo.h>
#include <stdbool.h>
#include <stddef.h>

typedef struct {
  double red, green, blue;
} PlanishColour;

/* On a ground that is painted, so that the ink is read on any page. */
extern const PlanishColour planish_panel_ground;
extern const PlanishColour planish_panel_ink;

/* Colours for curves, told apart by lightness as well; there are PLANISH_PANEL_CURVES. */
enum { PLANISH_PANEL_CURVES = 5 };
extern const PlanishColour planish_panel_curves[PLANISH_PANEL_CURVES];

/* A diagram: its place in the picture and the values at its edges. */
typedef struct {
  cairo_t *cairo;
  double left, right, top, bottom;
  double x_low, x_high;
  double y_low, y_high;
  bool logarithmic; /* x */
} PlanishPanel;

void planish_panel_colour(cairo_t *cairo, PlanishColour colour);

/* `align`: 0 begins at x, 0.5 has its middle there, 1 ends there. */
void planish_panel_write(cairo_t *cairo, double x, double y, double align, const char *text);

/* The least and the most of the finite values widened to whole steps, and `at_least` apart; lines
 * of the grid are the returned step apart. Values under `floor` do not count. */
double planish_panel_range(PlanishPanel *panel, const double *values, size_t count, double at_least,
                           double floor);

/* A line of the grid across x, with a label; NULL: without one. */
typedef struct {
  double value;
  const char *label;
} PlanishTick;

void planish_panel_grid(const PlanishPanel *panel, const PlanishTick *ticks, size_t count,
                        double y_step);

/* The same with lines `x_step` apart, labelled with their numbers. */
void planish_panel_plain_grid(const PlanishPanel *panel, double x_step, double y_step);

void planish_panel_frame(const PlanishPanel *panel, const char *title, const char *x_name,
                         const char *y_name);

/* A curve has a gap where y is NAN. */
void planish_panel_curve(const PlanishPanel *panel, PlanishColour colour, const double *x,
                         const double *y, size_t count);

/* From corner to corner of equal values, dashed. */
void planish_panel_diagonal(const PlanishPanel *panel);

/* The step of 1, 2 or 5 times a power of ten that cuts `span` into at most `most` parts. */
double planish_panel_step(double span, int most);

#endif
