#include "harness/base/place.h"
#include "harness/base/temporary_file.h"
#include "harness/base/text.h"
#include "harness/response/panel.h"
#include "harness/response/response.h"

#include <cairo-svg.h>
#include <cairo.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Points: diagrams stand two in a row, each in a cell. */
static const double width = 960.0;
static const double head = 64.0;
static const double cell_height = 252.0;
static const double small = 12.0;

static const double least_phase = 0.5;    /* degrees: less is not drawn */
static const double least_delay = 0.005;  /* ms */
static const double lowest_shown = -60.0; /* dB */
static const double lowest_harmonic = -140.0;

static const PlanishTick frequencies[] = {
    {20, "20"},   {30, NULL},   {40, NULL},     {50, "50"},     {60, NULL},   {70, NULL},
    {80, NULL},   {90, NULL},   {100, "100"},   {200, "200"},   {300, NULL},  {400, NULL},
    {500, "500"}, {600, NULL},  {700, NULL},    {800, NULL},    {900, NULL},  {1000, "1k"},
    {2000, "2k"}, {3000, NULL}, {4000, NULL},   {5000, "5k"},   {6000, NULL}, {7000, NULL},
    {8000, NULL}, {9000, NULL}, {10000, "10k"}, {20000, "20k"},
};

/* What is being drawn: the cells fill from the left; one alone takes the whole width. */
typedef struct {
  cairo_t *cairo; /* NULL: cells are counted only */
  int panels;
  int total; /* of panels, once they are counted */
} Sheet;

static bool next_panel(Sheet *sheet, PlanishPanel *panel)
{
  const int n = sheet->panels++;
  const double left = n % 2 == 0 ? 66.0 : 542.0;
  const double top = head + 26.0 + cell_height * floor(n / 2.0);
  *panel = (PlanishPanel){.cairo = sheet->cairo,
                          .left = left,
                          .right = sheet->total == 1 ? width - 28.0 : left + 390.0,
                          .top = top,
                          .bottom = top + cell_height - 78.0};
  return sheet->cairo != NULL;
}

static void draw_by_frequency(Sheet *sheet, const PlanishResponseTable *table, const char *key,
                              const char *title, const char *y_name, double at_least)
{
  PlanishPanel panel;
  const double *values = planish_response_column(table, key);
  if (!next_panel(sheet, &panel)) {
    return;
  }
  panel.logarithmic = true;
  panel.x_low = PLANISH_RESPONSE_LOWEST_HZ;
  panel.x_high = PLANISH_RESPONSE_HIGHEST_HZ;
  const bool is_level = strcmp(key, "magnitude_db") == 0;
  const double step = planish_panel_range(&panel, values, table->rows, at_least,
                                          is_level ? lowest_shown : -HUGE_VAL);
  planish_panel_grid(&panel, frequencies, sizeof frequencies / sizeof *frequencies, step);
  planish_panel_frame(&panel, title, "frequency, Hz", y_name);
  planish_panel_curve(&panel, planish_panel_curves[0],
                      planish_response_column(table, "frequency_hz"), values, table->rows);
}

static bool is_worth(const PlanishResponseTable *table, const char *key, double least)
{
  const double *values = planish_response_column(table, key);
  for (size_t n = 0; n < table->rows; ++n) {
    if (fabs(values[n]) > least) {
      return true;
    }
  }
  return false;
}

/* What goes in, and what comes out of it, where that is not simply pink. */
static void draw_noise(Sheet *sheet, const PlanishResponseTable *table)
{
  PlanishPanel panel;
  const double *hz = planish_response_column(table, "frequency_hz");
  const double *in = planish_response_column(table, "input_re_pink_db");
  const double *out = planish_response_column(table, "output_re_pink_db");
  if (in == NULL || out == NULL || !next_panel(sheet, &panel)) {
    return;
  }
  panel.logarithmic = true;
  panel.x_low = PLANISH_RESPONSE_LOWEST_HZ;
  panel.x_high = PLANISH_RESPONSE_HIGHEST_HZ;
  planish_panel_range(&panel, out, table->rows, 6.0, lowest_shown);
  const double out_low = panel.y_low;
  const double out_high = panel.y_high;
  planish_panel_range(&panel, in, table->rows, 6.0, lowest_shown);
  const double both[] = {out_low, out_high, panel.y_low, panel.y_high};
  const double step = planish_panel_range(&panel, both, 4, 6.0, lowest_shown);
  planish_panel_grid(&panel, frequencies, sizeof frequencies / sizeof *frequencies, step);
  planish_panel_frame(&panel, "Spectrum re pink noise", "frequency, Hz", "level, dB");
  planish_panel_curve(&panel, planish_panel_curves[1], hz, in, table->rows);
  planish_panel_curve(&panel, planish_panel_curves[0], hz, out, table->rows);
  planish_panel_colour(panel.cairo, planish_panel_curves[1]);
  planish_panel_write(panel.cairo, panel.right - 38.0, panel.top - 9.0, 1.0, "in");
  planish_panel_colour(panel.cairo, planish_panel_curves[0]);
  planish_panel_write(panel.cairo, panel.right, panel.top - 9.0, 1.0, "out");
}

/* At half of the frequencies or more: less would be shreds. */
static bool is_known(const PlanishResponseTable *table, const char *key)
{
  const double *values = planish_response_column(table, key);
  size_t known = 0;
  for (size_t n = 0; n < table->rows; ++n) {
    known += isnan(values[n]) ? 0 : 1;
  }
  return 2 * known >= table->rows;
}

static void draw_frequency(Sheet *sheet, const PlanishResponseTable *table)
{
  char title[96];
  draw_noise(sheet, table);
  planish_text_format(title, sizeof title, "Magnitude, %s at %.6g dBFS",
                      planish_response_column(table, "input_re_pink_db") == NULL ? "pink noise"
                                                                                 : "this noise",
                      planish_response_fact(table, "noise_level_dbfs"));
  draw_by_frequency(sheet, table, "magnitude_db", title, "magnitude, dB", 6.0);
  if (is_worth(table, "phase_deg", least_phase)) {
    draw_by_frequency(sheet, table, "phase_deg", "Phase, after the latency", "phase, degrees",
                      10.0);
  }
  if (is_worth(table, "group_delay_ms", least_delay) && is_known(table, "group_delay_ms")) {
    draw_by_frequency(sheet, table, "group_delay_ms", "Group delay, after the latency",
                      "group delay, ms", 0.1);
  }
}

static void set_levels(PlanishPanel *panel)
{
  panel->x_low = PLANISH_RESPONSE_LOWEST_LEVEL;
  panel->x_high = PLANISH_RESPONSE_HIGHEST_LEVEL;
}

static void draw_curve(Sheet *sheet, const PlanishResponseTable *table)
{
  PlanishPanel panel;
  const double *in = planish_response_column(table, "input_dbfs");
  const double *out = planish_response_column(table, "output_dbfs");
  if (next_panel(sheet, &panel)) {
    char title[96];
    set_levels(&panel);
    panel.y_low = PLANISH_RESPONSE_LOWEST_LEVEL;
    panel.y_high = PLANISH_RESPONSE_HIGHEST_LEVEL;
    for (size_t n = 0; n < table->rows; ++n) {
      panel.y_high = fmax(panel.y_high, ceil(out[n]));
    }
    planish_panel_plain_grid(&panel, 20.0, 20.0);
    planish_panel_diagonal(&panel);
    planish_text_format(title, sizeof title, "Static curve, %.6g Hz",
                        planish_response_fact(table, "tone_hz"));
    planish_panel_frame(&panel, title, "input, dBFS", "output, dBFS");
    planish_panel_curve(&panel, planish_panel_curves[0], in, out, table->rows);
  }
  /* A decibel or two, which a static curve hardly shows. */
  if (next_panel(sheet, &panel)) {
    double change[PLANISH_RESPONSE_LEVELS];
    for (size_t n = 0; n < table->rows; ++n) {
      change[n] = out[n] - in[n];
    }
    set_levels(&panel);
    const double step = planish_panel_range(&panel, change, table->rows, 2.0, lowest_shown);
    planish_panel_plain_grid(&panel, 20.0, step);
    planish_panel_frame(&panel, "Change of level", "input, dBFS", "change, dB");
    planish_panel_curve(&panel, planish_panel_curves[0], in, change, table->rows);
  }
}

/* The second to the fifth, and the rest: more would be a thicket. */
static void draw_orders(const PlanishPanel *panel, const PlanishResponseTable *table,
                        const double *x)
{
  static const struct {
    const char *key, *name;
  } shown[PLANISH_PANEL_CURVES] = {{"harmonic_2_db", "2nd"},
                                   {"harmonic_3_db", "3rd"},
                                   {"harmonic_4_db", "4th"},
                                   {"harmonic_5_db", "5th"},
                                   {"rest_db", "rest"}};
  for (int n = PLANISH_PANEL_CURVES - 1; n >= 0; --n) {
    planish_panel_curve(panel, planish_panel_curves[n], x,
                        planish_response_column(table, shown[n].key), table->rows);
  }
  for (int n = 0; n < PLANISH_PANEL_CURVES; ++n) {
    planish_panel_colour(panel->cairo, planish_panel_curves[n]);
    planish_panel_write(panel->cairo, panel->right - 38.0 * (PLANISH_PANEL_CURVES - 1 - n),
                        panel->top - 9.0, 1.0, shown[n].name);
  }
}

static void draw_harmonics(Sheet *sheet, const PlanishResponseTable *table, bool is_sweep)
{
  PlanishPanel panel;
  if (!next_panel(sheet, &panel)) {
    return;
  }
  char title[96];
  panel.y_low = lowest_harmonic;
  panel.y_high = 0.0;
  if (is_sweep) {
    panel.logarithmic = true;
    panel.x_low = PLANISH_RESPONSE_LOWEST_HZ;
    panel.x_high = PLANISH_RESPONSE_HIGHEST_HZ;
    planish_panel_grid(&panel, frequencies, sizeof frequencies / sizeof *frequencies, 20.0);
    planish_text_format(title, sizeof title, "Harmonics, %.6g dBFS",
                        planish_response_fact(table, "input_dbfs"));
  } else {
    set_levels(&panel);
    planish_panel_plain_grid(&panel, 20.0, 20.0);
    planish_text_format(title, sizeof title, "Harmonics, %.6g Hz",
                        planish_response_fact(table, "tone_hz"));
  }
  planish_panel_frame(&panel, title, is_sweep ? "frequency of the tone, Hz" : "input, dBFS",
                      "dB re the tone");
  draw_orders(&panel, table,
              planish_response_column(table, is_sweep ? "frequency_hz" : "input_dbfs"));
}

static void draw_time(Sheet *sheet, const PlanishResponseTable *table, const char *key,
                      const char *title, const char *y_name, double at_least)
{
  PlanishPanel panel;
  const double *times = planish_response_column(table, "time_ms");
  const double *values = planish_response_column(table, key);
  if (!next_panel(sheet, &panel) || table->rows < 2) {
    return;
  }
  panel.x_low = times[0];
  panel.x_high = times[table->rows - 1];
  const double step = planish_panel_range(&panel, values, table->rows, at_least, lowest_shown);
  planish_panel_plain_grid(&panel, planish_panel_step(panel.x_high - panel.x_low, 8), step);
  planish_panel_frame(&panel, title, "time after the latency, ms", y_name);
  planish_panel_curve(&panel, planish_panel_curves[0], times, values, table->rows);
}

static void draw_burst(Sheet *sheet, const PlanishResponseTable *table)
{
  char title[128];
  planish_text_format(title, sizeof title, "Burst of %.6g Hz, %.6g dBFS for %.6g ms",
                      planish_response_fact(table, "tone_hz"),
                      planish_response_fact(table, "input_dbfs"),
                      planish_response_fact(table, "duration_ms"));
  draw_time(sheet, table, "gain_db", title, "gain, dB", 2.0);
}

static void draw_panels(Sheet *sheet, const PlanishResponse *response)
{
  for (int n = 0; n < PLANISH_RESPONSE_MEASURES; ++n) {
    const PlanishResponseTable *table = &response->tables[n];
    if (table->key == NULL) {
      continue;
    }
    switch ((PlanishResponseMeasure)n) {
    case PLANISH_RESPONSE_FREQUENCY:
      draw_frequency(sheet, table);
      break;
    case PLANISH_RESPONSE_CURVE:
      draw_curve(sheet, table);
      break;
    case PLANISH_RESPONSE_HARMONICS:
    case PLANISH_RESPONSE_SWEEP:
      draw_harmonics(sheet, table, n == PLANISH_RESPONSE_SWEEP);
      break;
    case PLANISH_RESPONSE_IMPULSE:
      draw_time(sheet, table, "amplitude_re_input", "Impulse", "re the impulse", 0.01);
      break;
    case PLANISH_RESPONSE_STEP:
      draw_time(sheet, table, "amplitude_re_input", "Step", "re the step", 0.01);
      break;
    case PLANISH_RESPONSE_BURST:
      draw_burst(sheet, table);
      break;
    case PLANISH_RESPONSE_MEASURES:
      break;
    }
  }
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
  planish_panel_write(cairo, x, y, 0.0, text);
}

static void draw_heading(cairo_t *cairo, const PlanishResponse *response)
{
  const PlanishProbeSetup *setup = &response->setup;
  char settings[1024];
  char line[1200];
  char title[512];
  planish_response_settings(response, settings, sizeof settings);
  planish_text_format(line, sizeof line, "%.8g Hz, %s", setup->rate,
                      settings[0] == '\0' ? "all controls at their defaults" : settings);
  planish_panel_colour(cairo, planish_panel_ink);
  cairo_set_font_size(cairo, 17.0);
  planish_text_format(title, sizeof title, "%s%s%s (%s)", setup->plugin->name,
                      setup->preset == NULL ? "" : ": ", setup->preset == NULL ? "" : setup->preset,
                      planish_probe_channel_name(setup->channel));
  write_fitting(cairo, 24.0, 32.0, width - 48.0, title);
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
  Sheet sheet = {0};
  draw_panels(&sheet, response);
  const double height = head + cell_height * ceil(sheet.panels / 2.0) + 8.0;
  cairo_surface_t *surface =
      cairo_svg_surface_create_for_stream(write_bytes, &descriptor, width, height);
  cairo_svg_surface_set_document_unit(surface, CAIRO_SVG_UNIT_PX);
  cairo_t *cairo = cairo_create(surface);
  planish_panel_colour(cairo, planish_panel_ground);
  cairo_paint(cairo);
  cairo_select_font_face(cairo, "sans-serif", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
  draw_heading(cairo, response);
  sheet = (Sheet){.cairo = cairo, .total = sheet.panels};
  draw_panels(&sheet, response);
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
                              errno == 0 ? "the picture could not be drawn: try again"
                                         : planish_place_advice(errno));
}
