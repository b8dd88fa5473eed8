#include "harness/response/panel.h"

#include "harness/base/text.h"

#include <math.h>

#define MINUS "\xe2\x88\x92" /* U+2212 */

const PlanishColour planish_panel_ground = {0.985, 0.985, 0.975};
const PlanishColour planish_panel_ink = {0.13, 0.13, 0.15};
const PlanishColour planish_panel_curves[PLANISH_PANEL_CURVES] = {
    {0.10, 0.36, 0.62}, {0.78, 0.42, 0.08}, {0.20, 0.55, 0.38}, {0.55, 0.28, 0.55}, {0.5, 0.5, 0.5},
};
static const PlanishColour quiet_ink = {0.36, 0.36, 0.38};
static const PlanishColour grid = {0.84, 0.84, 0.83};
static const PlanishColour axis = {0.55, 0.55, 0.55};

void planish_panel_colour(cairo_t *cairo, PlanishColour colour)
{
  cairo_set_source_rgb(cairo, colour.red, colour.green, colour.blue);
}

static double x_of(const PlanishPanel *panel, double value)
{
  const double share = panel->logarithmic
                           ? log(value / panel->x_low) / log(panel->x_high / panel->x_low)
                           : (value - panel->x_low) / (panel->x_high - panel->x_low);
  return panel->left + share * (panel->right - panel->left);
}

/* Held a little outside of the panel: what clips there may be infinite. */
static double y_of(const PlanishPanel *panel, double value)
{
  const double share = (value - panel->y_low) / (panel->y_high - panel->y_low);
  return panel->bottom - fmin(fmax(share, -0.1), 1.1) * (panel->bottom - panel->top);
}

void planish_panel_write(cairo_t *cairo, double x, double y, double align, const char *text)
{
  cairo_text_extents_t extents;
  cairo_text_extents(cairo, text, &extents);
  cairo_move_to(cairo, round(x - align * extents.x_advance), y);
  cairo_show_text(cairo, text);
}

static void write_upwards(cairo_t *cairo, double x, double y, const char *text)
{
  cairo_save(cairo);
  cairo_translate(cairo, x, y);
  cairo_rotate(cairo, -1.57079632679489661923);
  planish_panel_write(cairo, 0.0, 0.0, 0.5, text);
  cairo_restore(cairo);
}

static double crisp(double place)
{
  return floor(place) + 0.5;
}

static void stroke(const PlanishPanel *panel, PlanishColour colour, double line)
{
  planish_panel_colour(panel->cairo, colour);
  cairo_set_line_width(panel->cairo, line);
  cairo_stroke(panel->cairo);
}

static void write_number(const PlanishPanel *panel, double x, double y, double align, double value)
{
  char label[32];
  const double shown = fabs(value) < 1e-9 ? 0.0 : value;
  planish_text_format(label, sizeof label, "%s%.6g", shown < 0.0 ? MINUS : "", fabs(shown));
  planish_panel_write(panel->cairo, x, y, align, label);
}

static void across(const PlanishPanel *panel, double value)
{
  cairo_move_to(panel->cairo, panel->left, crisp(y_of(panel, value)));
  cairo_line_to(panel->cairo, panel->right, crisp(y_of(panel, value)));
}

static void upright(const PlanishPanel *panel, double value)
{
  cairo_move_to(panel->cairo, crisp(x_of(panel, value)), panel->top);
  cairo_line_to(panel->cairo, crisp(x_of(panel, value)), panel->bottom);
}

/* What is drawn last of the grid: its numbers, and where zero is. */
static void draw_levels(const PlanishPanel *panel, double y_step)
{
  const int first = (int)ceil(panel->y_low / y_step - 1e-6);
  const int last = (int)floor(panel->y_high / y_step + 1e-6);
  for (int n = first; n <= last; ++n) {
    across(panel, y_step * n);
  }
  stroke(panel, grid, 1.0);
  if (panel->y_low <= 0.0 && panel->y_high >= 0.0) {
    across(panel, 0.0);
    stroke(panel, axis, 1.0);
  }
  planish_panel_colour(panel->cairo, planish_panel_ink);
  for (int n = first; n <= last; ++n) {
    write_number(panel, panel->left - 8.0, crisp(y_of(panel, y_step * n)) + 4.0, 1.0, y_step * n);
  }
}

/* All lines are one path: the file stays small. */
void planish_panel_grid(const PlanishPanel *panel, const PlanishTick *ticks, size_t count,
                        double y_step)
{
  for (size_t n = 0; n < count; ++n) {
    upright(panel, ticks[n].value);
  }
  draw_levels(panel, y_step);
  for (size_t n = 0; n < count; ++n) {
    if (ticks[n].label != NULL) {
      planish_panel_write(panel->cairo, x_of(panel, ticks[n].value), panel->bottom + 18.0, 0.5,
                          ticks[n].label);
    }
  }
}

void planish_panel_plain_grid(const PlanishPanel *panel, double x_step, double y_step)
{
  const int first = (int)ceil(panel->x_low / x_step - 1e-6);
  const int last = (int)floor(panel->x_high / x_step + 1e-6);
  for (int n = first; n <= last; ++n) {
    upright(panel, x_step * n);
  }
  draw_levels(panel, y_step);
  for (int n = first; n <= last; ++n) {
    write_number(panel, x_of(panel, x_step * n), panel->bottom + 18.0, 0.5, x_step * n);
  }
}

void planish_panel_frame(const PlanishPanel *panel, const char *title, const char *x_name,
                         const char *y_name)
{
  cairo_t *cairo = panel->cairo;
  cairo_rectangle(cairo, crisp(panel->left), crisp(panel->top), floor(panel->right - panel->left),
                  floor(panel->bottom - panel->top));
  stroke(panel, axis, 1.0);
  planish_panel_colour(cairo, quiet_ink);
  planish_panel_write(cairo, panel->left, panel->top - 9.0, 0.0, title);
  planish_panel_write(cairo, (panel->left + panel->right) / 2.0, panel->bottom + 38.0, 0.5, x_name);
  write_upwards(cairo, panel->left - 50.0, (panel->top + panel->bottom) / 2.0, y_name);
}

void planish_panel_curve(const PlanishPanel *panel, PlanishColour colour, const double *x,
                         const double *y, size_t count)
{
  cairo_t *cairo = panel->cairo;
  cairo_save(cairo);
  cairo_rectangle(cairo, panel->left, panel->top, panel->right - panel->left,
                  panel->bottom - panel->top);
  cairo_clip(cairo);
  cairo_set_line_join(cairo, CAIRO_LINE_JOIN_ROUND);
  bool is_down = false;
  for (size_t n = 0; n < count; ++n) {
    if (isnan(y[n])) {
      is_down = false;
    } else if (is_down) {
      cairo_line_to(cairo, x_of(panel, x[n]), y_of(panel, y[n]));
    } else {
      cairo_move_to(cairo, x_of(panel, x[n]), y_of(panel, y[n]));
      is_down = true;
    }
  }
  stroke(panel, colour, 2.0);
  cairo_restore(cairo);
}

void planish_panel_diagonal(const PlanishPanel *panel)
{
  static const double dashes[] = {4.0, 4.0};
  const double low = fmax(panel->x_low, panel->y_low);
  const double high = fmin(panel->x_high, panel->y_high);
  cairo_set_dash(panel->cairo, dashes, 2, 0.0);
  cairo_move_to(panel->cairo, x_of(panel, low), y_of(panel, low));
  cairo_line_to(panel->cairo, x_of(panel, high), y_of(panel, high));
  stroke(panel, axis, 1.0);
  cairo_set_dash(panel->cairo, NULL, 0, 0.0);
}

double planish_panel_step(double span, int most)
{
  const double least = span / most;
  const double decade = pow(10.0, floor(log10(least)));
  const double share = least / decade;
  return decade * (share <= 1.0 ? 1.0 : share <= 2.0 ? 2.0 : share <= 5.0 ? 5.0 : 10.0);
}

double planish_panel_range(PlanishPanel *panel, const double *values, size_t count, double at_least,
                           double floor_value)
{
  double low = HUGE_VAL;
  double high = -HUGE_VAL;
  for (size_t n = 0; n < count; ++n) {
    const double value = isfinite(values[n]) ? fmax(values[n], floor_value) : (double)NAN;
    low = fmin(low, value);
    high = fmax(high, value);
  }
  if (low > high) {
    low = high = 0.0;
  }
  const double lacking = fmax(0.0, at_least - (high - low)) / 2.0;
  low -= lacking;
  high += lacking;
  const double step = planish_panel_step(high - low, 6);
  panel->y_low = step * floor(low / step - 0.05);
  panel->y_high = step * ceil(high / step + 0.05);
  return step;
}
