/* A stage's static level curve and its harmonics: a steady tone goes in at rising levels.
 *
 * Levels are amplitudes: 0 dBFS is a sine whose peaks are at full scale. What is read is the tone
 * itself, and apart from it the harmonics that the stage adds, over a stretch of whole periods, 0.1
 * s and at least 4 of them. The tone is moved by up to 0.05 % (0.25 % at 8 kHz) so that they are
 * whole and share no divisor with the stretch: then what a stage folds back at half the rate falls
 * between the harmonics, and counts to the rest.
 *
 * The stage runs on from one level to the next. At the first it runs for its latency and what it
 * `settles` in; at each then until three stretches in a row lie within 0.0005 dB, for 10 s at most
 * (which a release of up to 2 s needs no more than).
 * Thread: one at a time. */
#ifndef PLANISH_HARNESS_LEVEL_CURVE_H
#define PLANISH_HARNESS_LEVEL_CURVE_H

#include "harness/response/probe.h"

#include <stddef.h>

enum { PLANISH_TONE_HARMONICS = 9 }; /* from the second to the tenth */

/* Mean power of both channels for stereo, as in probe.h. */
typedef struct {
  double tone;                              /* dBFS; -HUGE_VAL for none */
  double harmonics[PLANISH_TONE_HARMONICS]; /* dB re the tone; NAN where over half the
 rate, or no tone */
  double rest; /* dB re the tone: all else but DC, what folded back included */
} PlanishToneReading;

/* Fills `readings` at the levels `in`. Otherwise as planish_level_curve(). */
bool planish_tone_readings(const PlanishProbeSetup *setup, double hz, const double *in,
                           PlanishToneReading *readings, size_t count, bool *settled,
                           PlanishError *error);

/* Fills `out` from the levels `in`, both in dBFS; -HUGE_VAL for no tone at all. `hz` lies below
 * half the rate. *settled: each level did. False: see planish_probe_run(). */
bool planish_level_curve(const PlanishProbeSetup *setup, double hz, const double *in, double *out,
                         size_t count, bool *settled, PlanishError *error);

#endif
