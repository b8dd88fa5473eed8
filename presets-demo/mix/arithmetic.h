/* The arithmetic of the demo mix: + - * / and sqrt on doubles, nothing of libm, so that every
 * compiler and processor makes the same bytes. Phases are in turns (1 = a whole period), pitches
 * are MIDI note numbers (69 = 440 Hz), times in seconds. Thread: any. */
#ifndef PLANISH_DEMO_ARITHMETIC_H
#define PLANISH_DEMO_ARITHMETIC_H

#include "common/dsp/maths.h"

#include <float.h>
#include <math.h>
#include <stdint.h>

#ifdef __FAST_MATH__
#error "the demo mix needs arithmetic as it is written, without -ffast-math"
#endif

/* Wider intermediate results (x87) would round otherwise. */
_Static_assert(FLT_EVAL_METHOD == 0, "the demo mix needs doubles that are rounded as doubles");

#define PLANISH_DEMO_RATE 48000.0

/* sin(2 pi turns) for |turns| < 2^52. Absolute error under 1e-11 (Taylor series to x^15). */
static inline double planish_demo_sine(double turns)
{
  double x = turns - (double)(int64_t)(turns + (turns < 0.0 ? -0.5 : 0.5));
  x = x > 0.25 ? 0.5 - x : (x < -0.25 ? -0.5 - x : x);
  const double y = 2.0 * PLANISH_PI * x;
  const double z = y * y;
  double p = -1.0 / 1307674368000.0;
  p = p * z + 1.0 / 6227020800.0;
  p = p * z - 1.0 / 39916800.0;
  p = p * z + 1.0 / 362880.0;
  p = p * z - 1.0 / 5040.0;
  p = p * z + 1.0 / 120.0;
  p = p * z - 1.0 / 6.0;
  p = p * z + 1.0;
  return p * y;
}

static inline double planish_demo_cosine(double turns)
{
  return planish_demo_sine(turns + 0.25);
}

/* The factor a frame by which a sound falls 60 dB within `seconds`. */
static inline double planish_demo_fall(double seconds)
{
  return planish_exp2(-3.0 * PLANISH_LOG2_10 / (seconds * PLANISH_DEMO_RATE));
}

/* The share a frame by which a one-pole glide of time constant `seconds` closes its distance. */
static inline double planish_demo_approach(double seconds)
{
  return 1.0 - planish_exp2(-1.44269504088896340736 / (seconds * PLANISH_DEMO_RATE));
}

static inline double planish_demo_hertz(double pitch)
{
  return 440.0 * planish_exp2((pitch - 69.0) / 12.0);
}

/* A soft clip: slope 1 at 0, tends to +-1. */
static inline double planish_demo_soft(double x)
{
  return x / sqrt(1.0 + x * x);
}

#endif
