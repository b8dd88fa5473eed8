/* What planish response measures of a stage, as tables: one a measure, its quantities by frequency,
 * level or time. The forms for machines and the picture are made of the same tables.
 *
 * All of it is lined up with the latency that the stage reports: a stage that only delays, and says
 * so, has no phase, no group delay and its impulse at 0 s. */
#ifndef PLANISH_HARNESS_RESPONSE_H
#define PLANISH_HARNESS_RESPONSE_H

#include "harness/base/json.h"
#include "harness/response/frequency_response.h"
#include "harness/response/probe.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

enum {
  PLANISH_RESPONSE_LOWEST_LEVEL = -80, /* dBFS, of the static curve, in steps of 1 dB */
  PLANISH_RESPONSE_HIGHEST_LEVEL = 6,
  PLANISH_RESPONSE_LEVELS = PLANISH_RESPONSE_HIGHEST_LEVEL - PLANISH_RESPONSE_LOWEST_LEVEL + 1,
};

typedef enum {
  PLANISH_RESPONSE_FREQUENCY, /* magnitude, phase, group delay */
  PLANISH_RESPONSE_CURVE,     /* the static curve */
  PLANISH_RESPONSE_HARMONICS, /* by input level */
  PLANISH_RESPONSE_SWEEP,     /* harmonics by frequency */
  PLANISH_RESPONSE_IMPULSE,
  PLANISH_RESPONSE_STEP,
  PLANISH_RESPONSE_BURST,
  PLANISH_RESPONSE_MEASURES,
} PlanishResponseMeasure;

#define PLANISH_RESPONSE_BIT(measure) (1u << (measure))

/* Reads a measure's name, as an option gives it; false: it is none. */
bool planish_response_measure(const char *name, PlanishResponseMeasure *measure);

enum { PLANISH_RESPONSE_COLUMNS = 12, PLANISH_RESPONSE_FACTS = 3 };

/* A quantity; `key` names it and its unit, as in "magnitude_db". NAN: there is no such value. */
typedef struct {
  const char *key;
  double *values;
} PlanishResponseColumn;

typedef struct {
  const char *key;
  double value;
} PlanishResponseFact;

typedef struct {
  const char *key; /* in JSON; NULL: was not measured */
  size_t rows;
  size_t column_count;
  PlanishResponseColumn columns[PLANISH_RESPONSE_COLUMNS];
  size_t fact_count;
  PlanishResponseFact facts[PLANISH_RESPONSE_FACTS]; /* what it was measured with */
  bool may_settle;                                   /* whether `settled` tells anything */
  bool settled;
} PlanishResponseTable;

typedef struct {
  PlanishProbeSetup setup;
  uint32_t latency; /* frames */
  PlanishResponseTable tables[PLANISH_RESPONSE_MEASURES];
} PlanishResponse;

typedef struct {
  unsigned measures; /* PLANISH_RESPONSE_BIT of each; 0: those that tell something */
  PlanishNoise noise;
  double tone;  /* Hz, of curve, harmonics by level and burst */
  double drive; /* dBFS, of the tones of harmonics by frequency, and of the burst */
} PlanishResponseWishes;

/* Measures, with setup->values.
 *
 * Those that tell something: frequency and curve; an impulse where the magnitude moves by more than
 * 0.01 dB or the group delay by 0.01 ms over the frequencies; harmonics where at an input of 0 dBFS
 * or less they reach -100 dB together; a burst where the gain of the curve moves by more than
 * 0.05 dB over its levels. NULL: see planish_probe_run(). */
PlanishResponse *planish_response_new(const PlanishProbeSetup *setup,
                                      const PlanishResponseWishes *wishes, PlanishError *error);
/* NULL is allowed. */
void planish_response_free(PlanishResponse *response);

/* The values under a key; NULL: there are none. */
const double *planish_response_column(const PlanishResponseTable *table, const char *key);
/* NAN: there is no such fact. */
double planish_response_fact(const PlanishResponseTable *table, const char *key);

/* How far the column's finite values lie apart. */
double planish_response_travel(const PlanishResponseTable *table, const char *key);

/* One object: the stage, each control's value, and the tables, each column an array. */
void planish_response_json(PlanishJson *json, const PlanishResponse *response);

/* Each table with a header row of keys, a blank line between two; a field is empty where there is
 * no value. A decimal point whatever the locale. */
void planish_response_csv(FILE *file, const PlanishResponse *response);

/* The settings that are not the defaults, as "input_gain 6 dB, ceiling -3 dBTP". */
void planish_response_settings(const PlanishResponse *response, char *text, size_t size);

/* All as one SVG picture on a ground of its own, written beside `path` and renamed when whole.
 * PLANISH_BAD_FILE where that fails. */
bool planish_response_picture(const PlanishResponse *response, const char *path,
                              PlanishError *error);

#endif
