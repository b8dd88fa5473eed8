/* Signals that are hard on a true-peak limiter, limited to 20 kHz, near full scale. Each begins and
 * ends in silence. */
#ifndef PLANISH_TESTS_LIMITER_SIGNALS_H
#define PLANISH_TESTS_LIMITER_SIGNALS_H

#include "tests/unit/reconstruct.h"

#include <stdint.h>

#define SIGNAL_TOP_HZ 20000.0

typedef struct {
  const char *name;
  void (*fill)(double *x, size_t frames, double rate);
} LimiterSignal;

/* The 32 high bits of a 64-bit linear congruential generator (Knuth's MMIX constants). */
static inline uint32_t signal_random(uint64_t *seed)
{
  *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
  return (uint32_t)(*seed >> 32);
}

static inline double signal_uniform(uint64_t *seed)
{
  return signal_random(seed) / 2147483648.0 - 1.0;
}

/* 1 but for a rise and a fall of 5 ms at the ends. */
static inline double signal_edges(size_t n, size_t frames, double rate)
{
  const double ramp = 0.005 * rate;
  const double from_end = fmin((double)n, (double)(frames - 1 - n));
  return planish_smoothstep((from_end - 64.0) / ramp);
}

static inline void signal_finish(double *x, size_t frames, double rate)
{
  for (size_t n = 0; n < frames; ++n) {
    x[n] *= signal_edges(n, frames, rate);
  }
  reconstruct_band_limit(x, frames, rate, SIGNAL_TOP_HZ);
}

static inline void signal_random_signs(double *x, size_t frames, double rate)
{
  uint64_t seed = 1;
  for (size_t n = 0; n < frames; ++n) {
    x[n] = signal_random(&seed) & 1U ? 1.0 : -1.0;
  }
  signal_finish(x, frames, rate);
}

static inline void signal_square(double *x, size_t frames, double rate)
{
  for (size_t n = 0; n < frames; ++n) {
    x[n] = 0.0;
    for (int h = 1; h * 997.0 < SIGNAL_TOP_HZ - 500.0; h += 2) {
      x[n] += 4.0 / PLANISH_PI / h * sin(2.0 * PLANISH_PI * h * 997.0 / rate * (double)n);
    }
  }
  signal_finish(x, frames, rate);
}

static inline void signal_impulses(double *x, size_t frames, double rate)
{
  uint64_t seed = 2;
  memset(x, 0, frames * sizeof(double));
  for (size_t n = 500; n + 500 < frames; n += 1 + signal_random(&seed) % 700) {
    x[n] = signal_random(&seed) & 1U ? 2.0 : -2.0;
  }
  signal_finish(x, frames, rate);
}

/* A sine that steps through 100 Hz to 19.4 kHz; the steps are as hard as the band lets them be. */
static inline void signal_sines(double *x, size_t frames, double rate)
{
  static const double hz[] = {100.0,  997.0,   3150.0,  5512.5,  7993.0,
                              11025., 14700.0, 16000.0, 18014.0, 19400.0};
  const size_t count = sizeof hz / sizeof *hz;
  for (size_t n = 0; n < frames; ++n) {
    const double f = hz[n * count / frames];
    x[n] = sin(2.0 * PLANISH_PI * f / rate * (double)n + 0.6);
  }
  signal_finish(x, frames, rate);
}

/* Bursts of 5 ms of high tones out of near silence. */
static inline void signal_bursts(double *x, size_t frames, double rate)
{
  static const double hz[] = {997.0, 9000.0, 13000.0, 17000.0, 19000.0};
  const size_t period = (size_t)(0.02 * rate);
  for (size_t n = 0; n < frames; ++n) {
    const size_t burst = n / period;
    const double tone = sin(2.0 * PLANISH_PI * hz[burst % 5] / rate * (double)n);
    x[n] = (n % period < period / 4 ? 1.5 : 0.01) * tone;
  }
  signal_finish(x, frames, rate);
}

/* Low-passed noise in bursts over a bass: what a loud mix does to a limiter. */
static inline void signal_music(double *x, size_t frames, double rate)
{
  uint64_t seed = 3;
  double low = 0.0;
  const size_t beat = (size_t)(0.125 * rate);
  for (size_t n = 0; n < frames; ++n) {
    const double hit = exp(-5.0 * (double)(n % beat) / (double)beat);
    low += 0.2 * (signal_uniform(&seed) - low);
    x[n] = 0.5 * sin(2.0 * PLANISH_PI * 55.3 / rate * (double)n) + 2.0 * low * (0.2 + hit) +
           0.4 * hit * signal_uniform(&seed);
  }
  signal_finish(x, frames, rate);
}

static const LimiterSignal limiter_signals[] = {
    {"random signs", signal_random_signs},
    {"square 997 Hz", signal_square},
    {"impulses", signal_impulses},
    {"sines", signal_sines},
    {"bursts", signal_bursts},
    {"music-like", signal_music},
};

enum { LIMITER_SIGNAL_COUNT = sizeof limiter_signals / sizeof *limiter_signals };

#endif
