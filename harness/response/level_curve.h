/* A stage's static level curve: a steady tone goes in at rising levels, its level comes out.
 *
 * Levels are amplitudes: 0 dBFS is a sine whose peaks are at full scale. What is read is the tone
 * itself, without the harmonics that a stage may add, over a stretch of whole periods, 0.1 s and at
 * least 4 of them.
 *
 * The stage runs on from one level to the next. At the first it runs for its latency and what it
 * `settles` in; at each then until three stretches in a row lie within 0.0005 dB, for 10 s at most
 * (which a release of up to 2 s needs no more than).
 * Thread: one at a time. */
#ifndef PLANISH_HARNESS_LEVEL_CURVE_H
#define PLANISH_HARNESS_LEVEL_CURVE_H

#include "harness/response/probe.h"

#include <stddef.h>

/* Fills `out` from the levels `in`, both in dBFS; -HUGE_VAL for no tone at all. `hz` lies below
 * half the rate. *settled: each level did. False: see planish_probe_run(). */
bool planish_level_curve(const PlanishProbeSetup *setup, double hz, const double *in, double *out,
                         size_t count, bool *settled, PlanishError *error);

#endif
