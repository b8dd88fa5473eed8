/* A gain in dB whose corners are rounded by two poles of half a millisecond each: what jumps within
 * a frame clicks.
 *
 * What is left of a way to 0 ends at 1e-9 dB, so that what asks for no gain gets none, bit for bit.
 * All zero: no gain. Thread: one at a time. Real-time safe. */
#ifndef PLANISH_ROUNDED_GAIN_H
#define PLANISH_ROUNDED_GAIN_H

#include "common/dsp/trig.h"

#include <math.h>

#define PLANISH_ROUNDING_MS 0.5

typedef struct {
  double pole[2]; /* dB, after each */
} PlanishRoundedGain;

/* The share of the way that a pole goes in a frame. */
static inline double planish_rounding_share(double rate)
{
  return 1.0 - planish_exp(-1000.0 / (PLANISH_ROUNDING_MS * rate));
}

static inline double planish_rounding_step(double now, double target, double share)
{
  now += share * (target - now);
  return target == 0.0 && fabs(now) < 1e-9 ? 0.0 : now;
}

static inline double planish_rounded_gain_next(PlanishRoundedGain *gain, double target,
                                               double share)
{
  gain->pole[0] = planish_rounding_step(gain->pole[0], target, share);
  gain->pole[1] = planish_rounding_step(gain->pole[1], gain->pole[0], share);
  return gain->pole[1];
}

#endif
