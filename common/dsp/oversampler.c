#include "common/dsp/oversampler.h"

#include "common/dsp/maths.h"
#include "common/dsp/two_lanes.h"
#include "common/dsp/windowed_sinc.h"

#include <string.h>

enum { TAPS = PLANISH_OVERSAMPLER_TAPS, UP_DELAY = TAPS / 2, DOWN_DELAY = TAPS / 2 - 1 };

/* A stop band that is deep from 1.12 times half the rate on matters more here than a flat pass band
 * above 0.8 times, because only distortion passes the filters. */
static const PlanishWindowedSinc SINC = {.half_length = UP_DELAY, .cut = 0.93, .attenuation = 95.0};

double planish_oversampler_design(double *up, double *down, uint32_t ratio, double shift)
{
  double peak_gain = 0.0;
  for (uint32_t p = 0; p < ratio; ++p) {
    const double step = (double)p / ratio;
    for (uint32_t k = 0; k < TAPS; ++k) {
      /* Of the frame under this tap: how many frames before the newest it came. */
      const double age = (double)(TAPS - 1 - k);
      up[k * ratio + p] = planish_windowed_sinc_at(&SINC, age + step - UP_DELAY);
      down[k * ratio + p] =
          planish_windowed_sinc_at(&SINC, step + shift / ratio - age + DOWN_DELAY);
    }
    /* A little more than the sum, for the rounding of the filter itself. */
    const double magnitudes = planish_scale_phase(up + p, TAPS, ratio, 1.0) * (1.0 + 1e-12);
    peak_gain = planish_max(peak_gain, magnitudes);
    planish_scale_phase(down + p, TAPS, ratio, 1.0 / ratio);
  }
  return peak_gain;
}

void planish_oversampler_setup(PlanishOversampler *filters, PlanishArena *arena, uint32_t ratio,
                               double shift)
{
  filters->ratio = ratio;
  filters->up = planish_arena_take(arena, (size_t)TAPS * ratio, sizeof(double));
  filters->down = planish_arena_take(arena, (size_t)TAPS * ratio, sizeof(double));
  if (planish_arena_is_filling(arena)) {
    filters->peak_gain = planish_oversampler_design(filters->up, filters->down, ratio, shift);
  }
}

/* Sums of even and of odd taps apart: the additions of one chain wait for each other. */
typedef struct {
  PlanishTwo sum[2][PLANISH_OVERSAMPLER_MAX_RATIO / 2];
} Sums;

/* Inlined with `pairs` constant, so that the sums stay in registers. */
static inline __attribute__((always_inline)) void up(const double *coefficients, const double *past,
                                                     double *fine, uint32_t pairs)
{
  const PlanishTwo *h = (const PlanishTwo *)(const void *)coefficients;
  Sums sums = {{{{0.0, 0.0}}}};
  for (uint32_t k = 0; k < TAPS; k += 2) {
    for (uint32_t j = 0; j < 2; ++j, h += pairs) {
      const PlanishTwo x = planish_both(past[k + j]);
      for (uint32_t p = 0; p < pairs; ++p) {
        sums.sum[j][p] += h[p] * x;
      }
    }
  }
  for (uint32_t p = 0; p < pairs; ++p) {
    const PlanishTwo sum = sums.sum[0][p] + sums.sum[1][p];
    memcpy(fine + (size_t)2 * p, &sum, sizeof sum);
  }
}

void planish_oversampler_up(const PlanishOversampler *filters, const double *past, double *fine)
{
  if (filters->ratio == 2) {
    up(filters->up, past, fine, 1);
  } else if (filters->ratio == 8) {
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
      planish_arena_take(arena, (size_t)2 * TAPS * PLANISH_OVERSAMPLER_MAX_RATIO, sizeof(double));
}

void planish_decimator_reset(PlanishDecimator *decimator)
{
  memset(decimator->fine, 0, sizeof(double) * 2 * TAPS * PLANISH_OVERSAMPLER_MAX_RATIO);
  decimator->at = 0;
  decimator->present = 0;
}

static inline __attribute__((always_inline)) double total(const Sums *sums, uint32_t pairs)
{
  PlanishTwo sum = sums->sum[0][0] + sums->sum[1][0];
  for (uint32_t p = 1; p < pairs; ++p) {
    sum += sums->sum[0][p] + sums->sum[1][p];
  }
  return sum[0] + sum[1];
}

static inline __attribute__((always_inline)) double
down_all(const PlanishTwo *h, const PlanishTwo *oldest, uint32_t pairs)
{
  Sums sums = {{{{0.0, 0.0}}}};
  for (uint32_t k = 0; k < TAPS; k += 2) {
    for (uint32_t j = 0; j < 2; ++j, h += pairs, oldest += pairs) {
      for (uint32_t p = 0; p < pairs; ++p) {
        sums.sum[j][p] += h[p] * oldest[p];
      }
    }
  }
  return total(&sums, pairs);
}

/* The same without the frames of zeros, which change no sum. */
static inline __attribute__((always_inline)) double
down_few(const PlanishTwo *h, const PlanishTwo *oldest, uint32_t pairs, uint32_t present)
{
  Sums sums = {{{{0.0, 0.0}}}};
  for (uint32_t j = 0; j < 2; ++j) {
    uint32_t left = present & (UINT32_C(0x55555555) << j);
    for (; left != 0; left &= left - 1) {
      const uint32_t at = (uint32_t)__builtin_ctz(left) * pairs;
      for (uint32_t p = 0; p < pairs; ++p) {
        sums.sum[j][p] += h[at + p] * oldest[at + p];
      }
    }
  }
  return total(&sums, pairs);
}

/* Where zeros are few, leaving them out costs more than it saves. */
static inline __attribute__((always_inline)) double down(const PlanishDecimator *decimator,
                                                         const double *coefficients, uint32_t pairs)
{
  const PlanishTwo *h = (const PlanishTwo *)(const void *)coefficients;
  const PlanishTwo *oldest =
      (const PlanishTwo *)(const void *)decimator->fine + (size_t)(decimator->at + 1) * pairs;
  if (__builtin_popcount(decimator->present) >= TAPS / 3) {
    return down_all(h, oldest, pairs);
  }
  return down_few(h, oldest, pairs, decimator->present);
}

/* One frame into the ring, at both its places. */
static inline __attribute__((always_inline)) void keep(const PlanishDecimator *decimator,
                                                       const double *fine, uint32_t pairs)
{
  PlanishTwo *const place = (PlanishTwo *)(void *)decimator->fine + (size_t)decimator->at * pairs;
  for (uint32_t p = 0; p < pairs; ++p) {
    PlanishTwo two = {0.0, 0.0};
    if (fine != NULL) {
      memcpy(&two, fine + (size_t)2 * p, sizeof two);
    }
    place[p] = two;
    place[TAPS * pairs + p] = two;
  }
}

static inline __attribute__((always_inline)) double keep_and_sum(PlanishDecimator *decimator,
                                                                 const double *coefficients,
                                                                 const double *fine, uint32_t pairs)
{
  decimator->at = (decimator->at + 1) % TAPS;
  decimator->present >>= 1;
  if (fine != NULL) {
    decimator->present |= UINT32_C(1) << (TAPS - 1);
  }
  keep(decimator, fine, pairs);
  return decimator->present == 0 ? 0.0 : down(decimator, coefficients, pairs);
}

double planish_decimator_process(PlanishDecimator *decimator, const PlanishOversampler *filters,
                                 const double *fine)
{
  if (filters->ratio == 2) {
    return keep_and_sum(decimator, filters->down, fine, 1);
  }
  if (filters->ratio == 8) {
    return keep_and_sum(decimator, filters->down, fine, 4);
  }
  return filters->ratio == 16 ? keep_and_sum(decimator, filters->down, fine, 8)
                              : keep_and_sum(decimator, filters->down, fine, 2);
}
