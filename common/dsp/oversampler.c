#include "common/dsp/oversampler.h"

#include "common/dsp/maths.h"
#include "common/dsp/two_lanes.h"
#include "common/dsp/windowed_sinc.h"

#include <string.h>

enum { TAPS = PLANISH_OVERSAMPLER_TAPS, UP_DELAY = TAPS / 2, DOWN_DELAY = TAPS / 2 - 1 };

/* A stop band that is deep from 1.12 times half the rate on matters more here than a flat pass band
 * above 0.8 times, because only distortion passes the filters. */
static const PlanishWindowedSinc SINC = {.half_length = TAPS / 2, .cut = 0.93, .attenuation = 95.0};

void planish_oversampler_setup(PlanishOversampler *filters, PlanishArena *arena, uint32_t ratio,
                               double shift)
{
  filters->ratio = ratio;
  filters->up = planish_arena_take(arena, (size_t)TAPS * ratio, sizeof(double));
  filters->down = planish_arena_take(arena, (size_t)TAPS * ratio, sizeof(double));
  if (!planish_arena_is_filling(arena)) {
    return;
  }
  filters->peak_gain = 0.0;
  for (uint32_t p = 0; p < ratio; ++p) {
    const double step = (double)p / ratio;
    for (uint32_t k = 0; k < TAPS; ++k) {
      /* Up: the input frame that is k older than the newest, k counted from the far end. */
      const double age = (double)(TAPS - 1 - k);
      filters->up[k * ratio + p] = planish_windowed_sinc_at(&SINC, age + step - UP_DELAY);
      filters->down[k * ratio + p] =
          planish_windowed_sinc_at(&SINC, step + shift / ratio - k + DOWN_DELAY);
    }
    /* A little more than the sum, for the rounding of the filter itself. */
    const double magnitudes =
        planish_scale_phase(filters->up + p, TAPS, ratio, 1.0) * (1.0 + 1e-12);
    filters->peak_gain = planish_max(filters->peak_gain, magnitudes);
    planish_scale_phase(filters->down + p, TAPS, ratio, 1.0 / ratio);
  }
}

/* Inlined with `pairs` constant, so that the sums stay in registers. */
static inline __attribute__((always_inline)) void up(const double *coefficients, const double *past,
                                                     double *fine, uint32_t pairs)
{
  const PlanishTwo *h = (const PlanishTwo *)(const void *)coefficients;
  PlanishTwo sums[PLANISH_OVERSAMPLER_MAX_RATIO / 2] = {{0.0, 0.0}};
  for (uint32_t k = 0; k < TAPS; ++k, h += pairs) {
    const PlanishTwo x = planish_both(past[k]);
    for (uint32_t p = 0; p < pairs; ++p) {
      sums[p] += h[p] * x;
    }
  }
  memcpy(fine, sums, pairs * sizeof(PlanishTwo));
}

void planish_oversampler_up(const PlanishOversampler *filters, const double *past, double *fine)
{
  if (filters->ratio == 8) {
    up(filters->up, past, fine, 4);
  } else if (filters->ratio == 16) {
    up(filters->up, past, fine, 8);
  } else {
    up(filters->up, past, fine, 2);
  }
}

void planish_decimator_setup(PlanishDecimator *decimator, PlanishArena *arena)
{
  *decimator = (PlanishDecimator){0};
  decimator->fine =
      planish_arena_take(arena, (size_t)TAPS * PLANISH_OVERSAMPLER_MAX_RATIO, sizeof(double));
}

void planish_decimator_reset(PlanishDecimator *decimator)
{
  decimator->at = 0;
  decimator->present = 0;
}

static inline __attribute__((always_inline)) double down(const PlanishDecimator *decimator,
                                                         const double *coefficients, uint32_t pairs)
{
  const PlanishTwo *h = (const PlanishTwo *)(const void *)coefficients;
  const PlanishTwo *fine = (const PlanishTwo *)(const void *)decimator->fine;
  PlanishTwo sums[PLANISH_OVERSAMPLER_MAX_RATIO / 2] = {{0.0, 0.0}};
  uint32_t left = decimator->present;
  while (left != 0) {
    const uint32_t k = (uint32_t)__builtin_ctz(left);
    const PlanishTwo *e = fine + ((decimator->at - k) % TAPS) * pairs;
    for (uint32_t p = 0; p < pairs; ++p) {
      sums[p] += h[k * pairs + p] * e[p];
    }
    left &= left - 1;
  }
  for (uint32_t p = 1; p < pairs; ++p) {
    sums[0] += sums[p];
  }
  return sums[0][0] + sums[0][1];
}

double planish_decimator_process(PlanishDecimator *decimator, const PlanishOversampler *filters,
                                 const double *fine)
{
  const uint32_t ratio = filters->ratio;
  decimator->at = (decimator->at + 1) % TAPS;
  decimator->present <<= 1;
  if (fine != NULL) {
    memcpy(decimator->fine + (size_t)decimator->at * ratio, fine, ratio * sizeof(double));
    decimator->present |= 1;
  }
  if (decimator->present == 0) {
    return 0.0;
  }
  if (ratio == 8) {
    return down(decimator, filters->down, 4);
  }
  return ratio == 16 ? down(decimator, filters->down, 8) : down(decimator, filters->down, 2);
}
