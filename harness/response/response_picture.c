#include "harness/base/place.h"
#include "harness/base/temporary_file.h"
#include "harness/base/text.h"
#include "harness/response/response.h"

#include <cairo-svg.h>
#include <cairo.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Points. The ground is painted, so that the ink is read on any page. */
static const double width = 960.0;
static const double height = 560.0;
static const double top = 88.0;
static const double bottom = 504.0;
static const double small = 12.0;

#define MINUS "\xe2\x88\x92" /* U+2212 */

typedef struct {
  double red, green, blue;
} Colour;

static const Colour ground = {0.985, 0.985, 0.975};
static const Colour ink = {0.13, 0.13, 0.15};
static const Colour quiet_ink = {0.36, 0.36, 0.38};
static const Colour grid = {0.84, 0.84, 0.83};
static const Colour axis = {0.55, 0.55, 0.55};
static const Colour curve = {0.10, 0.36, 0.62};

/* A diagram: its place in the picture and the values at its edges. */
typedef struct {
  cairo_t *cairo;
  double left, right, top, bottom;
  double x_low, x_high;
  double y_low, y_high;
  bool logarithmic; /* x */
} Panel;

static void set_colour(cairo_t *cairo, Colour colour)
{
  cairo_set_source_rgb(cairo, colour.red, colour.green, colour.blue);
}

static double x_of(const Panel *panel, double value)
{
  const double share = panel->logarithmic
                           ? log(value / panel->x_low) / log(panel->x_high / panel->x_low)
                           : (value - panel->x_low) / (panel->x_high - panel->x_low);
  return panel->left + share * (panel->right - panel->left);
}

/* Held a little outside of the panel: what clips there may be infinite. */
static double y_of(const Panel *panel, double value)
{
  const double share = (value - panel->y_low) / (panel->y_high - panel->y_low);
  return panel->bottom - fmin(fmax(share, -0.1), 1.1) * (panel->bottom - panel->top);
}

/* `align`: 0 begins at x, 0.5 has its middle there, 1 ends there. */
static void write_text(cairo_t *cairo, double x, double y, double align, const char *text)
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
  write_text(cairo, 0.0, 0.0, 0.5, text);
  cairo_restore(cairo);
}

static double crisp(double place)
{
  return floor(place) + 0.5;
}

static void stroke(const Panel *panel, Colour colour, double line)
{
  set_colour(panel->cairo, colour);
  cairo_set_line_width(panel->cairo, line);
  cairo_stroke(panel->cairo);
}

/* A place on the x axis; NULL: a line without a label. */
typedef struct {
  double value;
  const char *label;
} Tick;

/* All lines are one path: the file stays small. */
static void draw_grid(const Panel *panel, const Tick *ticks, size_t count, double y_step)
{
  cairo_t *cairo = panel->cairo;
  const int first = (int)ceil(panel->y_low / y_step);
  const int last = (int)floor(panel->y_high / y_step);
  for (size_t n = 0; n < count; ++n) {
    cairo_move_to(cairo, crisp(x_of(panel, ticks[n].value)), panel->top);
    cairo_line_to(cairo, crisp(x_of(panel, ticks[n].value)), panel->bottom);
  }
  for (int n = first; n <= last; ++n) {
    cairo_move_to(cairo, panel->left, crisp(y_of(panel, y_step * n)));
    cairo_line_to(cairo, panel->right, crisp(y_of(panel, y_step * n)));
  }
  stroke(panel, grid, 1.0);
  cairo_move_to(cairo, panel->left, crisp(y_of(panel, 0.0)));
  cairo_line_to(cairo, panel->right, crisp(y_of(panel, 0.0)));
  stroke(panel, axis, 1.0);
  set_colour(cairo, ink);
  for (size_t n = 0; n < count; ++n) {
    if (ticks[n].label != NULL) {
      write_text(cairo, x_of(panel, ticks[n].value), panel->bottom + 18.0, 0.5, ticks[n].label);
    }
  }
  for (int n = first; n <= last; ++n) {
    char label[32];
    planish_text_format(label, sizeof label, "%s%g", n < 0 ? MINUS : "", fabs(y_step * n));
    write_text(cairo, panel->left - 8.0, crisp(y_of(panel, y_step * n)) + 4.0, 1.0, label);
  }
}

/* `x_name` may be NULL. */
static void draw_frame(const Panel *panel, const char *title, const char *x_name,
                       const char *y_name)
{
  cairo_t *cairo = panel->cairo;
  cairo_rectangle(cairo, crisp(panel->left), crisp(panel->top), floor(panel->right - panel->left),
                  floor(panel->bottom - panel->top));
  stroke(panel, axis, 1.0);
  set_colour(cairo, quiet_ink);
  write_text(cairo, panel->left, panel->top - 9.0, 0.0, title);
  if (x_name != NULL) {
    write_text(cairo, (panel->left + panel->right) / 2.0, panel->bottom + 38.0, 0.5, x_name);
  }
  write_upwards(cairo, panel->left - 42.0, (panel->top + panel->bottom) / 2.0, y_name);
}

static void draw_curve(const Panel *panel, const double *x, const double *y, size_t count)
{
  cairo_t *cairo = panel->cairo;
  cairo_save(cairo);
  cairo_rectangle(cairo, panel->left, panel->top, panel->right - panel->left,
                  panel->bottom - panel->top);
  cairo_clip(cairo);
  cairo_set_line_join(cairo, CAIRO_LINE_JOIN_ROUND);
  for (size_t n = 0; n < count; ++n) {
    cairo_line_to(cairo, x_of(panel, x[n]), y_of(panel, y[n]));
  }
  stroke(panel, curve, 2.0);
  cairo_restore(cairo);
}

/* Room for all levels and 0 dB, 6 dB at least, down to -60 dB; the step of its lines. */
static double choose_range(Panel *panel, const double *levels, size_t count)
{
  double low = 0.0;
  double high = 0.0;
  for (size_t n = 0; n < count; ++n) {
    low = fmin(low, fmax(levels[n], -60.0));
    high = fmax(high, levels[n]);
  }
  const double span = high - low;
  const double step = span <= 6.0    ? 1.0
                      : span <= 12.0 ? 2.0
                      : span <= 18.0 ? 3.0
                      : span <= 36.0 ? 6.0
                                     : 12.0;
  const double least = step < 2.0 ? 3.0 : step;
  panel->y_low = fmin(step * floor(low / step - 0.05), -least);
  panel->y_high = fmax(step * ceil(high / step + 0.05), least);
  return step;
}

static void draw_magnitude(cairo_t *cairo, const PlanishResponse *response)
{
  static const Tick ticks[] = {
      {20, "20"},   {30, NULL},   {40, NULL},     {50, "50"},     {60, NULL},   {70, NULL},
      {80, NULL},   {90, NULL},   {100, "100"},   {200, "200"},   {300, NULL},  {400, NULL},
      {500, "500"}, {600, NULL},  {700, NULL},    {800, NULL},    {900, NULL},  {1000, "1k"},
      {2000, "2k"}, {3000, NULL}, {4000, NULL},   {5000, "5k"},   {6000, NULL}, {7000, NULL},
      {8000, NULL}, {9000, NULL}, {10000, "10k"}, {20000, "20k"},
  };
  const PlanishFrequencyResponse *magnitude = response->magnitude;
  Panel panel = {.cairo = cairo,
                 .left = 66.0,
                 .right = 566.0,
                 .top = top,
                 .bottom = bottom,
                 .x_low = 20.0,
                 .x_high = 20000.0,
                 .logarithmic = true};
  const double step = choose_range(&panel, magnitude->levels, magnitude->count);
  draw_grid(&panel, ticks, sizeof ticks / sizeof *ticks, step);
  char title[96];
  planish_text_format(title, sizeof title, "Magnitude, pink noise at %.6g dBFS", response->level);
  draw_frame(&panel, title, "frequency, Hz", "magnitude, dB");
  draw_curve(&panel, magnitude->hz, magnitude->levels, magnitude->count);
}

static const Tick level_ticks[] = {
    {-80, MINUS "80"}, {-60, MINUS "60"}, {-40, MINUS "40"}, {-20, MINUS "20"}, {0, "0"}};

enum { LEVEL_TICKS = sizeof level_ticks / sizeof *level_ticks };

static Panel level_panel(cairo_t *cairo, double from, double to)
{
  return (Panel){.cairo = cairo,
                 .left = 656.0,
                 .right = 932.0,
                 .top = from,
                 .bottom = to,
                 .x_low = PLANISH_RESPONSE_LOWEST_LEVEL,
                 .x_high = PLANISH_RESPONSE_HIGHEST_LEVEL};
}

static void draw_static_curve(cairo_t *cairo, const PlanishResponse *response)
{
  Panel panel = level_panel(cairo, top, 340.0);
  panel.y_low = PLANISH_RESPONSE_LOWEST_LEVEL;
  panel.y_high = PLANISH_RESPONSE_HIGHEST_LEVEL;
  for (int n = 0; n < PLANISH_RESPONSE_LEVELS; ++n) {
    panel.y_high = fmax(panel.y_high, ceil(response->out[n]));
  }
  draw_grid(&panel, level_ticks, LEVEL_TICKS, 20.0);
  static const double dashes[] = {4.0, 4.0};
  cairo_set_dash(cairo, dashes, 2, 0.0);
  cairo_move_to(cairo, x_of(&panel, panel.x_low), y_of(&panel, panel.x_low));
  cairo_line_to(cairo, x_of(&panel, panel.x_high), y_of(&panel, panel.x_high));
  stroke(&panel, axis, 1.0);
  cairo_set_dash(cairo, NULL, 0, 0.0);
  char title[96];
  planish_text_format(title, sizeof title, "Static curve, %.6g Hz", response->tone);
  draw_frame(&panel, title, NULL, "output, dBFS");
  draw_curve(&panel, response->in, response->out, PLANISH_RESPONSE_LEVELS);
}

/* A decibel or two, which a static curve hardly shows. */
static void draw_change(cairo_t *cairo, const PlanishResponse *response)
{
  double change[PLANISH_RESPONSE_LEVELS];
  for (int n = 0; n < PLANISH_RESPONSE_LEVELS; ++n) {
    change[n] = response->out[n] - response->in[n];
  }
  Panel panel = level_panel(cairo, 390.0, bottom);
  const double step = choose_range(&panel, change, PLANISH_RESPONSE_LEVELS);
  draw_grid(&panel, level_ticks, LEVEL_TICKS, step);
  draw_frame(&panel, "Change of level", "input, dBFS", "change, dB");
  draw_curve(&panel, response->in, change, PLANISH_RESPONSE_LEVELS);
}

/* What does not fit ends in dots. */
static void write_fitting(cairo_t *cairo, double x, double y, double room, char *text)
{
  cairo_text_extents_t extents;
  size_t length = strlen(text);
  cairo_text_extents(cairo, text, &extents);
  while (extents.x_advance > room && length > 4) {
    const size_t was = length;
    do {
      length -= 1;
    } while (length > 4 && text[length] != ' ');
    memcpy(text + length, "...", was - length < 4 ? was - length : 4);
    text[length + 3 < was ? length + 3 : was] = '\0';
    cairo_text_extents(cairo, text, &extents);
  }
  write_text(cairo, x, y, 0.0, text);
}

static void draw_heading(cairo_t *cairo, const PlanishResponse *response)
{
  const PlanishProbeSetup *setup = &response->setup;
  char settings[1024];
  char line[1200];
  planish_response_settings(response, settings, sizeof settings);
  planish_text_format(line, sizeof line, "%s, %.8g Hz, %s",
                      planish_probe_channel_name(setup->channel), setup->rate,
                      settings[0] == '\0' ? "all controls at their defaults" : settings);
  set_colour(cairo, ink);
  cairo_set_font_size(cairo, 17.0);
  write_text(cairo, 24.0, 32.0, 0.0, setup->plugin->name);
  cairo_set_font_size(cairo, small);
  write_fitting(cairo, 24.0, 53.0, width - 48.0, line);
}

static cairo_status_t write_bytes(void *closure, const unsigned char *bytes, unsigned length)
{
  const int descriptor = *(const int *)closure;
  while (length > 0) {
    const ssize_t written = write(descriptor, bytes, length);
    if (written < 0 && errno != EINTR) {
      return CAIRO_STATUS_WRITE_ERROR;
    }
    bytes += written > 0 ? written : 0;
    length -= (unsigned)(written > 0 ? written : 0);
  }
  return CAIRO_STATUS_SUCCESS;
}

static bool draw_all(const PlanishResponse *response, int descriptor)
{
  cairo_surface_t *surface =
      cairo_svg_surface_create_for_stream(write_bytes, &descriptor, width, height);
  cairo_svg_surface_set_document_unit(surface, CAIRO_SVG_UNIT_PX);
  cairo_t *cairo = cairo_create(surface);
  set_colour(cairo, ground);
  cairo_paint(cairo);
  cairo_select_font_face(cairo, "sans-serif", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
  draw_heading(cairo, response);
  draw_magnitude(cairo, response);
  draw_static_curve(cairo, response);
  draw_change(cairo, response);
  cairo_surface_finish(surface);
  const bool done = cairo_status(cairo) == CAIRO_STATUS_SUCCESS &&
                    cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS;
  cairo_destroy(cairo);
  cairo_surface_destroy(surface);
  return done;
}

bool planish_response_picture(const PlanishResponse *response, const char *path,
                              PlanishError *error)
{
  PlanishTemporaryFile file;
  char *real = planish_place_real(path);
  if (real == NULL) {
    return planish_fail_memory(error);
  }
  errno = 0;
  bool done = planish_temporary_file_new(&file, real);
  if (done) {
    done = draw_all(response, file.descriptor) && planish_temporary_file_commit(&file, real);
    const int cause = errno;
    planish_temporary_file_free(&file);
    errno = cause;
  }
  free(real);
  return done || planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s", path,
                              errno == 0 ? "the picture could not be drawn" : strerror(errno));
}
