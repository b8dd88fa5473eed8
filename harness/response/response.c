#include "harness/response/response.h"

#include "harness/response/level_curve.h"
#include "harness/response/time_response.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FREQUENCIES = 512, MOST_TONES = 40 };

static const double time_event_level = -20.0;   /* dBFS, of impulse and step */
static const double telling_magnitude = 0.01;   /* dB */
static const double telling_delay = 0.01;       /* ms */
static const double telling_gain = 0.05;        /* dB */
static const double telling_harmonics = -100.0; /* dB re the tone */

static const char *const names[PLANISH_RESPONSE_MEASURES] = {
    [PLANISH_RESPONSE_FREQUENCY] = "frequency", [PLANISH_RESPONSE_CURVE] = "curve",
    [PLANISH_RESPONSE_HARMONICS] = "harmonics", [PLANISH_RESPONSE_SWEEP] = "sweep",
    [PLANISH_RESPONSE_IMPULSE] = "impulse",     [PLANISH_RESPONSE_STEP] = "step",
    [PLANISH_RESPONSE_BURST] = "burst",
};

static const char *const harmonic_keys[PLANISH_TONE_HARMONICS] = {
    "harmonic_2_db", "harmonic_3_db", "harmonic_4_db", "harmonic_5_db",  "harmonic_6_db",
    "harmonic_7_db", "harmonic_8_db", "harmonic_9_db", "harmonic_10_db",
};

bool planish_response_measure(const char *name, PlanishResponseMeasure *measure)
{
  for (int n = 0; n < PLANISH_RESPONSE_MEASURES; ++n) {
    if (strcmp(names[n], name) == 0) {
      *measure = (PlanishResponseMeasure)n;
      return true;
    }
  }
  return false;
}

const double *planish_response_column(const PlanishResponseTable *table, const char *key)
{
  for (size_t n = 0; n < table->column_count; ++n) {
    if (strcmp(table->columns[n].key, key) == 0) {
      return table->columns[n].values;
    }
  }
  return NULL;
}

double planish_response_fact(const PlanishResponseTable *table, const char *key)
{
  for (size_t n = 0; n < table->fact_count; ++n) {
    if (strcmp(table->facts[n].key, key) == 0) {
      return table->facts[n].value;
    }
  }
  return (double)NAN;
}

double planish_response_travel(const PlanishResponseTable *table, const char *key)
{
  const double *values = planish_response_column(table, key);
  double low = HUGE_VAL;
  double high = -HUGE_VAL;
  for (size_t n = 0; values != NULL && n < table->rows; ++n) {
    low = isfinite(values[n]) ? fmin(low, values[n]) : low;
    high = isfinite(values[n]) ? fmax(high, values[n]) : high;
  }
  return low < high ? high - low : 0.0;
}

/* Zeros to be filled; NULL without memory, or where an earlier one had none. */
static double *add_column(PlanishResponseTable *table, const char *key)
{
  double *values = calloc(table->rows + 1, sizeof *values);
  if (values != NULL) {
    table->columns[table->column_count++] = (PlanishResponseColumn){key, values};
  }
  return values;
}

/* `scale` times `values`; false without memory. */
static bool copy_column(PlanishResponseTable *table, const char *key, const double *values,
                        double scale)
{
  double *column = add_column(table, key);
  for (size_t n = 0; column != NULL && n < table->rows; ++n) {
    column[n] = scale * values[n];
  }
  return column != NULL;
}

static void add_fact(PlanishResponseTable *table, const char *key, double value)
{
  table->facts[table->fact_count++] = (PlanishResponseFact){key, value};
}

/* What went in and what came out, re pink noise; false without memory. */
static bool add_noise(PlanishResponseTable *table, const PlanishNoise *noise)
{
  const double *hz = planish_response_column(table, "frequency_hz");
  const double *change = planish_response_column(table, "magnitude_db");
  double *in = add_column(table, "input_re_pink_db");
  double *out = add_column(table, "output_re_pink_db");
  for (size_t n = 0; in != NULL && out != NULL && n < table->rows; ++n) {
    in[n] = planish_noise_bells(noise, hz[n]);
    out[n] = in[n] + change[n];
  }
  return in != NULL && out != NULL;
}

static bool measure_frequency(PlanishResponse *response, const PlanishResponseWishes *wishes,
                              PlanishError *error)
{
  double hz[MOST_FREQUENCIES];
  size_t count = 0;
  const double highest = planish_response_highest(response->setup.rate);
  while (count < MOST_FREQUENCIES) {
    const double next = PLANISH_RESPONSE_LOWEST_HZ * exp2((double)count / 48.0);
    hz[count++] = fmin(next, highest);
    if (next >= highest) {
      break;
    }
  }
  PlanishFrequencyResponse *measured =
      planish_frequency_response_new(&response->setup, &wishes->noise, hz, count, error);
  if (measured == NULL) {
    return false;
  }
  PlanishResponseTable *table = &response->tables[PLANISH_RESPONSE_FREQUENCY];
  *table = (PlanishResponseTable){.key = "magnitude",
                                  .rows = measured->count,
                                  .may_settle = true,
                                  .settled = measured->settled};
  add_fact(table, "noise_level_dbfs", wishes->noise.level);
  add_fact(table, "duration_s", measured->seconds);
  const bool done = copy_column(table, "frequency_hz", measured->hz, 1.0) &&
                    copy_column(table, "magnitude_db", measured->levels, 1.0) &&
                    copy_column(table, "phase_deg", measured->phases, 1.0) &&
                    copy_column(table, "group_delay_ms", measured->delays, 1e3) &&
                    (wishes->noise.bell_count == 0 || add_noise(table, &wishes->noise));
  planish_frequency_response_free(measured);
  return done || planish_fail_memory(error);
}

/* Powers together, in dB; those that are NAN are not there. */
static double total(const double *levels, size_t count)
{
  double power = 0.0;
  for (size_t n = 0; n < count; ++n) {
    power += isnan(levels[n]) ? 0.0 : pow(10.0, levels[n] / 10.0);
  }
  return power > 0.0 ? 10.0 * log10(power) : (double)NAN;
}

static bool fill_harmonics(PlanishResponseTable *table, const PlanishToneReading *readings)
{
  for (size_t h = 0; h < PLANISH_TONE_HARMONICS; ++h) {
    double *column = add_column(table, harmonic_keys[h]);
    for (size_t n = 0; column != NULL && n < table->rows; ++n) {
      column[n] = readings[n].harmonics[h];
    }
  }
  double *together = add_column(table, "harmonics_db");
  double *rest = add_column(table, "rest_db");
  for (size_t n = 0; together != NULL && rest != NULL && n < table->rows; ++n) {
    together[n] = total(readings[n].harmonics, PLANISH_TONE_HARMONICS);
    rest[n] = readings[n].rest;
  }
  return table->column_count == PLANISH_TONE_HARMONICS + 3;
}

/* Both come from the same tones. */
static bool measure_levels(PlanishResponse *response, const PlanishResponseWishes *wishes,
                           PlanishError *error)
{
  double in[PLANISH_RESPONSE_LEVELS];
  double out[PLANISH_RESPONSE_LEVELS];
  PlanishToneReading readings[PLANISH_RESPONSE_LEVELS] = {0};
  for (int n = 0; n < PLANISH_RESPONSE_LEVELS; ++n) {
    in[n] = PLANISH_RESPONSE_LOWEST_LEVEL + n;
  }
  bool settled = false;
  if (!planish_tone_readings(&response->setup, wishes->tone, in, readings, PLANISH_RESPONSE_LEVELS,
                             &settled, error)) {
    return false;
  }
  for (int n = 0; n < PLANISH_RESPONSE_LEVELS; ++n) {
    out[n] = readings[n].tone;
  }
  PlanishResponseTable *curve = &response->tables[PLANISH_RESPONSE_CURVE];
  PlanishResponseTable *harmonics = &response->tables[PLANISH_RESPONSE_HARMONICS];
  *curve = (PlanishResponseTable){.key = "static_curve",
                                  .rows = PLANISH_RESPONSE_LEVELS,
                                  .may_settle = true,
                                  .settled = settled};
  *harmonics = *curve;
  harmonics->key = "harmonics";
  add_fact(curve, "tone_hz", wishes->tone);
  add_fact(harmonics, "tone_hz", wishes->tone);
  return (copy_column(curve, "input_dbfs", in, 1.0) &&
          copy_column(curve, "output_dbfs", out, 1.0) &&
          copy_column(harmonics, "input_dbfs", in, 1.0) && fill_harmonics(harmonics, readings)) ||
         planish_fail_memory(error);
}

/* Third octaves (IEC 61260-1: exact mid-frequencies 10^(n/10)) whose second harmonic is there. */
static bool measure_sweep(PlanishResponse *response, const PlanishResponseWishes *wishes,
                          PlanishError *error)
{
  double hz[MOST_TONES];
  PlanishToneReading readings[MOST_TONES] = {0};
  size_t count = 0;
  bool settled = true;
  PlanishProbeSetup quiet = response->setup;
  quiet.told = NULL;
  for (int n = 13; count < MOST_TONES; ++n) {
    hz[count] = pow(10.0, n / 10.0);
    if (2.0 * hz[count] >= planish_response_highest(response->setup.rate)) {
      break;
    }
    bool steady = false;
    if (!planish_tone_readings(&quiet, hz[count], &wishes->drive, &readings[count], 1, &steady,
                               error)) {
      return false;
    }
    settled = settled && steady;
    count += 1;
    planish_probe_tell(&response->setup, "harmonics", (double)count / MOST_TONES);
  }
  PlanishResponseTable *table = &response->tables[PLANISH_RESPONSE_SWEEP];
  *table = (PlanishResponseTable){
      .key = "harmonics_by_frequency", .rows = count, .may_settle = true, .settled = settled};
  add_fact(table, "input_dbfs", wishes->drive);
  return (copy_column(table, "frequency_hz", hz, 1.0) && fill_harmonics(table, readings)) ||
         planish_fail_memory(error);
}

/* Takes `measured`, which may be NULL. */
static bool fill_time(PlanishResponseTable *table, PlanishTimeResponse *measured, const char *key,
                      PlanishError *error)
{
  if (measured == NULL) {
    return false;
  }
  table->rows = measured->count;
  const bool done = copy_column(table, "time_ms", measured->seconds, 1e3) &&
                    copy_column(table, key, measured->values, 1.0);
  planish_time_response_free(measured);
  return done || planish_fail_memory(error);
}

static bool measure_event(PlanishResponse *response, PlanishTimeEvent event, PlanishError *error)
{
  const bool is_impulse = event == PLANISH_TIME_IMPULSE;
  PlanishResponseTable *table =
      &response->tables[is_impulse ? PLANISH_RESPONSE_IMPULSE : PLANISH_RESPONSE_STEP];
  *table = (PlanishResponseTable){.key = is_impulse ? "impulse" : "step"};
  add_fact(table, "input_dbfs", time_event_level);
  return fill_time(table,
                   planish_time_response_new(&response->setup, event, time_event_level, error),
                   "amplitude_re_input", error);
}

static bool measure_burst(PlanishResponse *response, const PlanishResponseWishes *wishes,
                          PlanishError *error)
{
  PlanishResponseTable *table = &response->tables[PLANISH_RESPONSE_BURST];
  *table = (PlanishResponseTable){.key = "burst"};
  add_fact(table, "tone_hz", wishes->tone);
  add_fact(table, "input_dbfs", wishes->drive);
  add_fact(table, "duration_ms", 1e3 * PLANISH_BURST_LENGTH);
  return fill_time(table,
                   planish_burst_response_new(&response->setup, wishes->tone, wishes->drive, error),
                   "gain_db", error);
}

static bool has_gain_that_moves(const PlanishResponseTable *curve)
{
  const double *in = planish_response_column(curve, "input_dbfs");
  const double *out = planish_response_column(curve, "output_dbfs");
  double low = HUGE_VAL;
  double high = -HUGE_VAL;
  for (size_t n = 0; n < curve->rows; ++n) {
    low = fmin(low, out[n] - in[n]);
    high = fmax(high, out[n] - in[n]);
  }
  return high - low > telling_gain;
}

static bool has_harmonics(const PlanishResponseTable *table)
{
  const double *in = planish_response_column(table, "input_dbfs");
  const double *together = planish_response_column(table, "harmonics_db");
  for (size_t n = 0; n < table->rows; ++n) {
    if (in[n] <= 0.0 && together[n] > telling_harmonics) {
      return true;
    }
  }
  return false;
}

/* Given frequency and levels. */
static unsigned telling(const PlanishResponse *response)
{
  const PlanishResponseTable *frequency = &response->tables[PLANISH_RESPONSE_FREQUENCY];
  unsigned measures = PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_FREQUENCY) |
                      PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_CURVE);
  if (planish_response_travel(frequency, "magnitude_db") > telling_magnitude ||
      planish_response_travel(frequency, "group_delay_ms") > telling_delay) {
    measures |= PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_IMPULSE);
  }
  if (has_harmonics(&response->tables[PLANISH_RESPONSE_HARMONICS])) {
    measures |= PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_HARMONICS);
  }
  if (has_gain_that_moves(&response->tables[PLANISH_RESPONSE_CURVE])) {
    measures |= PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_BURST);
  }
  return measures;
}

static void table_release(PlanishResponseTable *table)
{
  for (size_t n = 0; n < table->column_count; ++n) {
    free(table->columns[n].values);
  }
  *table = (PlanishResponseTable){0};
}

static bool measure_first(PlanishResponse *response, const PlanishResponseWishes *wishes,
                          PlanishError *error)
{
  const unsigned levels = PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_CURVE) |
                          PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_HARMONICS);
  const unsigned frequency = PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_FREQUENCY);
  const bool all = wishes->measures == 0;
  return ((!all && (wishes->measures & frequency) == 0) ||
          measure_frequency(response, wishes, error)) &&
         ((!all && (wishes->measures & levels) == 0) || measure_levels(response, wishes, error));
}

static bool measure(PlanishResponse *response, const PlanishResponseWishes *wishes,
                    PlanishError *error)
{
  if (!measure_first(response, wishes, error)) {
    return false;
  }
  const unsigned measures = wishes->measures == 0 ? telling(response) : wishes->measures;
  for (int n = 0; n < PLANISH_RESPONSE_MEASURES; ++n) {
    if ((measures & PLANISH_RESPONSE_BIT(n)) == 0) {
      table_release(&response->tables[n]);
    }
  }
  bool done = true;
  if ((measures & PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_SWEEP)) != 0) {
    done = measure_sweep(response, wishes, error);
  }
  if (done && (measures & PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_IMPULSE)) != 0) {
    done = measure_event(response, PLANISH_TIME_IMPULSE, error);
  }
  if (done && (measures & PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_STEP)) != 0) {
    done = measure_event(response, PLANISH_TIME_STEP, error);
  }
  if (done && (measures & PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_BURST)) != 0) {
    done = measure_burst(response, wishes, error);
  }
  return done;
}

static bool ask_latency(PlanishResponse *response, PlanishError *error)
{
  PlanishProbe *probe = planish_probe_new(&response->setup, error);
  response->latency = probe == NULL ? 0 : planish_probe_latency(probe);
  planish_probe_free(probe);
  return probe != NULL;
}

PlanishResponse *planish_response_new(const PlanishProbeSetup *setup,
                                      const PlanishResponseWishes *wishes, PlanishError *error)
{
  PlanishResponse *response = calloc(1, sizeof *response);
  if (response == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  response->setup = *setup;
  if (!ask_latency(response, error) || !measure(response, wishes, error)) {
    planish_response_free(response);
    return NULL;
  }
  return response;
}

void planish_response_free(PlanishResponse *response)
{
  if (response != NULL) {
    for (int n = 0; n < PLANISH_RESPONSE_MEASURES; ++n) {
      table_release(&response->tables[n]);
    }
    free(response);
  }
}
