#include "harness/program/response_table.h"

#include "harness/base/text.h"

#include <math.h>

/* A column as it is shown. */
typedef struct {
  const char *key;
  const char *heading;
  int width;
  int decimals;
} Shown;

/* IEC 61260-1: exact mid-frequencies 10^(n/10), named by these. */
static double nominal(int n)
{
  static const double names[] = {1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0};
  const int decade = n / 10;
  return names[n % 10] * pow(10.0, decade);
}

static void print_value(const Shown *shown, double value)
{
  if (isfinite(value)) {
    planish_text_print(stdout, "%*.*f", shown->width, shown->decimals,
                       planish_text_unsigned_zero(value, shown->decimals));
  } else {
    planish_text_print(stdout, "%*s", shown->width, isnan(value) ? "-" : "silent");
  }
}

static void print_headings(const char *first, const Shown *shown, size_t count)
{
  planish_text_print(stdout, "%10s", first);
  for (size_t n = 0; n < count; ++n) {
    planish_text_print(stdout, "%*s", shown[n].width, shown[n].heading);
  }
  planish_text_print(stdout, "\n");
}

/* Straight between the rows around, on a logarithmic axis. */
static double value_at(const PlanishResponseTable *table, const char *key, double hz)
{
  const double *at = planish_response_column(table, "frequency_hz");
  const double *values = planish_response_column(table, key);
  size_t n = 1;
  while (n + 1 < table->rows && at[n] < hz) {
    n += 1;
  }
  const double share = log(hz / at[n - 1]) / log(at[n] / at[n - 1]);
  return values[n - 1] + share * (values[n] - values[n - 1]);
}

static void print_frequency(const PlanishResponseTable *table, double rate)
{
  /* The last two where the noise is not pink. */
  static const Shown shown[] = {{"magnitude_db", "dB", 12, 2},
                                {"phase_deg", "degrees", 12, 1},
                                {"group_delay_ms", "delay, ms", 12, 3},
                                {"input_re_pink_db", "in re pink", 13, 2},
                                {"output_re_pink_db", "out re pink", 13, 2}};
  enum { COLUMNS = sizeof shown / sizeof *shown };
  const size_t columns = planish_response_column(table, "input_re_pink_db") == NULL ? 3 : COLUMNS;
  planish_text_print(stdout, "\nmagnitude, phase and group delay at %.6g dBFS\n",
                     planish_response_fact(table, "noise_level_dbfs"));
  print_headings("Hz", shown, columns);
  for (int n = 13; n <= 43; ++n) {
    const double hz = pow(10.0, n / 10.0);
    if (hz > planish_response_highest(rate)) {
      break;
    }
    planish_text_print(stdout, "%10.6g", nominal(n));
    for (size_t c = 0; c < columns; ++c) {
      print_value(&shown[c], value_at(table, shown[c].key, hz));
    }
    planish_text_print(stdout, "\n");
  }
}

/* Every 10 dB where little happens, then every 2 dB. */
static size_t next_level(size_t n)
{
  return n + (PLANISH_RESPONSE_LOWEST_LEVEL + (int)n < -40 ? 10 : 2);
}

static void print_curve(const PlanishResponseTable *table)
{
  static const Shown level = {"", "", 12, 2};
  const double *in = planish_response_column(table, "input_dbfs");
  const double *out = planish_response_column(table, "output_dbfs");
  planish_text_print(stdout, "\nstatic curve of %.8g Hz\n%10s%12s%12s\n",
                     planish_response_fact(table, "tone_hz"), "in, dBFS", "out, dBFS",
                     "change, dB");
  for (size_t n = 0; n < table->rows; n = next_level(n)) {
    planish_text_print(stdout, "%10.2f", in[n]);
    print_value(&level, out[n]);
    print_value(&level, out[n] - in[n]);
    planish_text_print(stdout, "\n");
  }
}

static void print_harmonics(const PlanishResponseTable *table, bool is_sweep)
{
  static const Shown shown[] = {
      {"harmonic_2_db", "2nd", 9, 1}, {"harmonic_3_db", "3rd", 9, 1},
      {"harmonic_4_db", "4th", 9, 1}, {"harmonic_5_db", "5th", 9, 1},
      {"harmonics_db", "2-10", 9, 1}, {"rest_db", "rest", 9, 1},
  };
  enum { COLUMNS = sizeof shown / sizeof *shown };
  const double *x = planish_response_column(table, is_sweep ? "frequency_hz" : "input_dbfs");
  planish_text_print(stdout, "\nharmonics at %.8g %s, dB re the tone\n",
                     planish_response_fact(table, is_sweep ? "input_dbfs" : "tone_hz"),
                     is_sweep ? "dBFS" : "Hz");
  print_headings(is_sweep ? "Hz" : "in, dBFS", shown, COLUMNS);
  for (size_t n = 0; n < table->rows; n = is_sweep ? n + 1 : next_level(n)) {
    if (is_sweep) {
      planish_text_print(stdout, "%10.6g", nominal((int)lrint(10.0 * log10(x[n]))));
    } else {
      planish_text_print(stdout, "%10.2f", x[n]);
    }
    for (size_t c = 0; c < COLUMNS; ++c) {
      print_value(&shown[c], planish_response_column(table, shown[c].key)[n]);
    }
    planish_text_print(stdout, "\n");
  }
}

/* Thousands of frames tell a person less than where they begin, end and are largest. */
static void print_event(const PlanishResponseTable *table, const char *what)
{
  const double *times = planish_response_column(table, "time_ms");
  const double *values = planish_response_column(table, "amplitude_re_input");
  size_t largest = 0;
  for (size_t n = 0; n < table->rows; ++n) {
    largest = fabs(values[n]) > fabs(values[largest]) ? n : largest;
  }
  planish_text_print(stdout,
                     "\n%s at %.6g dBFS: from %.3f to %.3f ms, %.6f of the input at most, at "
                     "%.3f ms\n",
                     what, planish_response_fact(table, "input_dbfs"), times[0],
                     times[table->rows - 1], values[largest], times[largest]);
}

static void print_burst(const PlanishResponseTable *table)
{
  static const Shown gain = {"", "", 12, 2};
  static const double after[] = {-5.0, -2.0, -1.0, 0.0,   1.0,   2.0,   5.0,
                                 10.0, 20.0, 50.0, 100.0, 200.0, 400.0, 800.0};
  const double *times = planish_response_column(table, "time_ms");
  const double *values = planish_response_column(table, "gain_db");
  const double length = planish_response_fact(table, "duration_ms");
  planish_text_print(stdout, "\nburst of %.8g Hz, %.6g dBFS for %.6g ms\n%10s%12s%12s\n",
                     planish_response_fact(table, "tone_hz"),
                     planish_response_fact(table, "input_dbfs"), length, "ms", "rise, dB",
                     "fall, dB");
  for (size_t n = 0; n < sizeof after / sizeof *after; ++n) {
    planish_text_print(stdout, "%10.6g", after[n]);
    for (int is_fall = 0; is_fall < 2; ++is_fall) {
      const double time = after[n] + (is_fall ? length : 0.0);
      size_t nearest = 0;
      for (size_t k = 0; k < table->rows; ++k) {
        nearest = fabs(times[k] - time) < fabs(times[nearest] - time) ? k : nearest;
      }
      print_value(&gain, !is_fall && time >= length ? (double)NAN : values[nearest]);
    }
    planish_text_print(stdout, "\n");
  }
}

static void print_one(const PlanishResponse *response, PlanishResponseMeasure measure)
{
  const PlanishResponseTable *table = &response->tables[measure];
  switch (measure) {
  case PLANISH_RESPONSE_FREQUENCY:
    print_frequency(table, response->setup.rate);
    break;
  case PLANISH_RESPONSE_CURVE:
    print_curve(table);
    break;
  case PLANISH_RESPONSE_HARMONICS:
  case PLANISH_RESPONSE_SWEEP:
    print_harmonics(table, measure == PLANISH_RESPONSE_SWEEP);
    break;
  case PLANISH_RESPONSE_IMPULSE:
    print_event(table, "impulse");
    break;
  case PLANISH_RESPONSE_STEP:
    print_event(table, "step");
    break;
  case PLANISH_RESPONSE_BURST:
    print_burst(table);
    break;
  case PLANISH_RESPONSE_MEASURES:
    break;
  }
}

void planish_response_table_print(const PlanishResponse *response)
{
  const PlanishProbeSetup *setup = &response->setup;
  char settings[1024];
  planish_response_settings(response, settings, sizeof settings);
  planish_text_print(stdout, "%s, %s: %.8g Hz, %s, %u frames of latency\n", setup->plugin->name,
                     setup->plugin->uri, setup->rate, planish_probe_channel_name(setup->channel),
                     (unsigned)response->latency);
  if (setup->preset != NULL) {
    planish_text_print(stdout, "preset %s\n", setup->preset);
  }
  planish_text_print(stdout, "%s\n",
                     settings[0] == '\0' ? "all controls at their defaults" : settings);
  for (int n = 0; n < PLANISH_RESPONSE_MEASURES; ++n) {
    if (response->tables[n].key != NULL) {
      print_one(response, (PlanishResponseMeasure)n);
    }
  }
}
