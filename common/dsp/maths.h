/* Arithmetic that gives the same bits on every processor, and the project's scales.
 *
 * Scales: full scale is +-1.0. Level is dB re full scale (20 log10 of the magnitude). Gain changes
 * are in dB and signed: negative attenuates. Mid = (L+R)/2, side = (L-R)/2, so L = M+S, R = M-S.
 * Lengths and latencies are in frames (one value per channel), times in ms, frequencies in Hz.
 *
 * libm's exp, log and pow pick other instructions on other processors, so whatever runs in a
 * process() function uses these instead. Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_MATHS_H
#define PLANISH_DSP_MATHS_H

#include <math.h>
#include <stdint.h>
#include <string.h>

#define PLANISH_PI         3.14159265358979323846
#define PLANISH_LOG2_10    3.32192809488736234787
#define PLANISH_DB_TO_LOG2 (PLANISH_LOG2_10 / 20.0)
#define PLANISH_LOG2_TO_DB (20.0 / PLANISH_LOG2_10)

/* The level of nothing: what planish_level_of() returns for 0. */
#define PLANISH_SILENCE_DB (-1000.0)

/* 2^x. Relative error <= 4e-16 for |x| <= 1000; beyond, x is held at +-1000. x must not be NaN. */
static inline double planish_exp2(double x)
{
  x = x > 1000.0 ? 1000.0 : (x < -1000.0 ? -1000.0 : x);
  /* Adding 1.5 * 2^52 leaves the nearest whole number in the low bits. */
  const double shifted = x + 6755399441055744.0;
  const double whole = shifted - 6755399441055744.0;
  const double y = (x - whole) * 0.693147180559945309417; /* |y| <= 0.3466 */
  /* Taylor series of e^y; the first term left out is under 1e-17. */
  double p = 1.0 / 6227020800.0;
  p = p * y + 1.0 / 479001600.0;
  p = p * y + 1.0 / 39916800.0;
  p = p * y + 1.0 / 3628800.0;
  p = p * y + 1.0 / 362880.0;
  p = p * y + 1.0 / 40320.0;
  p = p * y + 1.0 / 5040.0;
  p = p * y + 1.0 / 720.0;
  p = p * y + 1.0 / 120.0;
  p = p * y + 1.0 / 24.0;
  p = p * y + 1.0 / 6.0;
  p = p * y + 0.5;
  p = p * y + 1.0;
  p = p * y + 1.0;
  const int64_t bits = ((int64_t)whole + 1023) * ((int64_t)1 << 52);
  double scale;
  memcpy(&scale, &bits, sizeof scale);
  return p * scale;
}

/* log2(x) for normal x > 0. Absolute error <= 2e-15 near 1, relative error <= 4e-16 elsewhere. */
static inline double planish_log2(double x)
{
  int64_t bits;
  memcpy(&bits, &x, sizeof bits);
  /* Split so that the mantissa lies within sqrt(1/2) .. sqrt(2). */
  const int64_t offset = bits - 0x3fe6a09e667f3bcd;
  const int64_t exponent = offset >> 52;
  bits -= exponent * ((int64_t)1 << 52);
  double m;
  memcpy(&m, &bits, sizeof m);
  const double s = (m - 1.0) / (m + 1.0); /* |s| <= 0.1716 */
  const double z = s * s;
  /* atanh(s) = s (1 + z/3 + z^2/5 + ...); the first term left out is under 1e-18. */
  double p = 1.0 / 23.0;
  p = p * z + 1.0 / 21.0;
  p = p * z + 1.0 / 19.0;
  p = p * z + 1.0 / 17.0;
  p = p * z + 1.0 / 15.0;
  p = p * z + 1.0 / 13.0;
  p = p * z + 1.0 / 11.0;
  p = p * z + 1.0 / 9.0;
  p = p * z + 1.0 / 7.0;
  p = p * z + 1.0 / 5.0;
  p = p * z + 1.0 / 3.0;
  p = p * z + 1.0;
  return (double)exponent + s * p * 2.88539008177792681472;
}

/* The factor of a level change in dB; exactly 1 at 0 dB. */
static inline double planish_gain_of(double db)
{
  return planish_exp2(db * PLANISH_DB_TO_LOG2);
}

/* The level in dB of a magnitude; PLANISH_SILENCE_DB for 0 and denormals. */
static inline double planish_level_of(double magnitude)
{
  return magnitude < 1e-50 ? PLANISH_SILENCE_DB : planish_log2(magnitude) * PLANISH_LOG2_TO_DB;
}

/* The same for a power (a mean square). */
static inline double planish_level_of_power(double power)
{
  return power < 1e-100 ? PLANISH_SILENCE_DB : planish_log2(power) * (0.5 * PLANISH_LOG2_TO_DB);
}

static inline double planish_clamp(double x, double low, double high)
{
  return x < low ? low : (x > high ? high : x);
}

static inline double planish_max(double a, double b)
{
  return a > b ? a : b;
}

static inline double planish_min(double a, double b)
{
  return a < b ? a : b;
}

/* Frames of a duration at a rate, rounded to the nearest. */
static inline uint32_t planish_frames_of(double ms, double rate)
{
  return (uint32_t)(ms * rate / 1000.0 + 0.5);
}

/* Rises from 0 to 1 as x goes from 0 to 1, with slope and curvature zero at both ends. */
static inline double planish_smoothstep(double x)
{
  x = planish_clamp(x, 0.0, 1.0);
  return x * x * x * (x * (6.0 * x - 15.0) + 10.0);
}

#endif
