/* What planish response measures of a stage, and its forms for machines and as a picture. */
#ifndef PLANISH_HARNESS_RESPONSE_H
#define PLANISH_HARNESS_RESPONSE_H

#include "harness/base/json.h"
#include "harness/response/frequency_response.h"
#include "harness/response/probe.h"

#include <stdbool.h>
#include <stddef.h>

enum {
  PLANISH_RESPONSE_LOWEST_LEVEL = -80, /* dBFS, of the static curve, in steps of 1 dB */
  PLANISH_RESPONSE_HIGHEST_LEVEL = 6,
  PLANISH_RESPONSE_LEVELS = PLANISH_RESPONSE_HIGHEST_LEVEL - PLANISH_RESPONSE_LOWEST_LEVEL + 1,
};

typedef struct {
  PlanishProbeSetup setup;
  double level;                        /* dBFS, of the noise that the magnitude is measured with */
  double tone;                         /* Hz, of the static curve */
  PlanishFrequencyResponse *magnitude; /* by 1/48 octave */
  double in[PLANISH_RESPONSE_LEVELS];  /* dBFS */
  double out[PLANISH_RESPONSE_LEVELS]; /* dBFS; -HUGE_VAL for silence */
  bool curve_settled;
} PlanishResponse;

/* Measures; `setup`, `level` and `tone` as above, with setup->values. NULL: see
 * planish_probe_run(). */
PlanishResponse *planish_response_new(const PlanishProbeSetup *setup, double level, double tone,
                                      PlanishError *error);
/* NULL is allowed. */
void planish_response_free(PlanishResponse *response);

/* One object: the stage, each control's value, and both measurements as arrays. */
void planish_response_json(PlanishJson *json, const PlanishResponse *response);

/* The settings that are not the defaults, as "input_gain 6 dB, ceiling -3 dBTP". */
void planish_response_settings(const PlanishResponse *response, char *text, size_t size);

/* Both as one SVG picture on a ground of its own, written beside `path` and renamed when whole.
 * PLANISH_BAD_FILE where that fails. */
bool planish_response_picture(const PlanishResponse *response, const char *path,
                              PlanishError *error);

#endif
