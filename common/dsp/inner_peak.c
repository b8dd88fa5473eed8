#include "common/dsp/inner_peak.h"

#include "common/dsp/maths.h"
#include "common/dsp/two_lanes.h"
#include "common/dsp/windowed_sinc.h"

#include <string.h>

enum { TAPS = PLANISH_INNER_PEAK_TAPS, PHASES = 4, PAIRS = PHASES / 2 };

/* With this cut the stop band of a filter of 104 taps begins at half the rate (Kaiser 1974: the
 * transition is (A - 8) / (2.285 * 2 pi * taps) of the rate wide). */
static const PlanishWindowedSinc SINC = {
    .half_length = TAPS / 2, .cut = 0.955, .attenuation = 75.0};

void planish_inner_peak_setup(PlanishInnerPeak *peak, PlanishArena *arena)
{
  *peak = (PlanishInnerPeak){0};
  peak->past = planish_arena_take(arena, (size_t)2 * TAPS, sizeof(double));
  peak->kernel = planish_arena_take(arena, (size_t)TAPS * PHASES, sizeof(double));
  if (!planish_arena_is_filling(arena)) {
    return;
  }
  for (uint32_t p = 0; p < PHASES; ++p) {
    for (uint32_t k = 0; k < TAPS; ++k) {
      const double age = (double)(TAPS - 1 - k);
      peak->kernel[k * PHASES + p] =
          planish_windowed_sinc_at(&SINC, age + (double)p / PHASES - PLANISH_INNER_PEAK_DELAY);
    }
    planish_scale_phase(peak->kernel + p, TAPS, PHASES, 1.0);
  }
}

void planish_inner_peak_reset(PlanishInnerPeak *peak)
{
  memset(peak->past, 0, (size_t)2 * TAPS * sizeof *peak->past);
  memset(peak->before, 0, sizeof peak->before);
  peak->before_peak = 0.0;
  peak->at = 0;
}

/* The peak at a fine point: if it is a local extremum, the amplitude of the sinusoid through it and
 * its neighbours. A parabola, which knows no fourth derivative, misses tones at the upper end of
 * the inner band by up to 0.05 dB; this takes them exactly. */
static double vertex(double a, double b, double c)
{
  const double size = fabs(b);
  if (size < fabs(a) || size < fabs(c) || a * b < 0.0 || c * b < 0.0) {
    return size;
  }
  const double rest = 4.0 * b * b - (a + c) * (a + c);
  return rest <= 0.0 ? size : size * sqrt(1.0 + (c - a) * (c - a) / rest);
}

/* Four sums a phase hide each other's latency. */
static void interpolate(const PlanishInnerPeak *peak, double *fine)
{
  const PlanishTwo *h = (const PlanishTwo *)(const void *)peak->kernel;
  const double *past = peak->past + peak->at + 1;
  PlanishTwo sums[4][PAIRS] = {{{0.0, 0.0}}};
  for (uint32_t k = 0; k < TAPS; k += 4) {
    for (uint32_t j = 0; j < 4; ++j, h += PAIRS) {
      const PlanishTwo x = planish_both(past[k + j]);
      sums[j][0] += h[0] * x;
      sums[j][1] += h[1] * x;
    }
  }
  for (uint32_t i = 0; i < PAIRS; ++i) {
    const PlanishTwo sum = (sums[0][i] + sums[1][i]) + (sums[2][i] + sums[3][i]);
    memcpy(fine + 2 * i, &sum, sizeof sum);
  }
}

double planish_inner_peak_next(PlanishInnerPeak *peak, double x, double *inner)
{
  peak->at = (peak->at + 1) % TAPS;
  peak->past[peak->at] = x;
  peak->past[peak->at + TAPS] = x;
  double fine[PHASES];
  interpolate(peak, fine);
  *inner = fine[0];

  const double *before = peak->before;
  const double late = vertex(before[1], before[2], fine[0]);
  const double middle = vertex(fine[1], fine[2], fine[3]);
  double largest = planish_max(peak->before_peak, late);
  largest = planish_max(largest, vertex(before[2], fine[0], fine[1]));
  largest = planish_max(largest, vertex(fine[0], fine[1], fine[2]));
  largest = planish_max(largest, middle);
  memcpy(peak->before, fine + 1, sizeof peak->before);
  peak->before_peak = middle;
  return largest;
}
