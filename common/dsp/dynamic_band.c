#include "common/dsp/dynamic_band.h"

#include "common/dsp/glide.h"
#include "common/dsp/lanes_maths.h"
#include "common/dsp/maths.h"
#include "common/dsp/wide.h"

#include <stdbool.h>

void planish_dynamic_band_start(PlanishDynamicBand *band, PlanishBandType type, PlanishTwo x)
{
  *band = (PlanishDynamicBand){.type = type};
  band->svf.s2 = x;
  band->m0 = planish_both(1.0);
}

static PlanishTwo square_roots(PlanishTwo a)
{
  return (PlanishTwo){sqrt(a[0]), sqrt(a[1])};
}

/* Trapezoidal forms of the cookbook's prototypes: damping and frequency carry what A does to the
 * poles, the mix what it does to the zeros. */
static void design(PlanishDynamicBand *band, PlanishTwo gain, PlanishTwo a, double tangent,
                   double q)
{
  const PlanishTwo one = planish_both(1.0);
  PlanishTwo g = planish_both(tangent);
  PlanishTwo k = planish_both(1.0 / q);
  switch (band->type) {
  case PLANISH_BAND_LOW_SHELF:
    g /= square_roots(a);
    band->m0 = one;
    band->m1 = k * (a - one);
    band->m2 = a * a - one;
    break;
  case PLANISH_BAND_HIGH_SHELF:
    g *= square_roots(a);
    band->m0 = a * a;
    band->m1 = k * (one - a) * a;
    band->m2 = one - a * a;
    break;
  case PLANISH_BAND_PEAKING:
    k /= a;
    band->m0 = one;
    band->m1 = k * (a * a - one);
    band->m2 = planish_both(0.0);
    break;
  case PLANISH_BAND_FULL:
    band->m0 = a * a;
    break;
  }
  band->a1 = one / (one + g * (g + k));
  band->a2 = g * band->a1;
  band->a3 = g * band->a2;
  band->gain = gain;
  band->tangent = tangent;
  band->q = q;
}

static bool is_made_of(const PlanishDynamicBand *band, PlanishTwo gain, double tangent, double q)
{
  return gain[0] == band->gain[0] && gain[1] == band->gain[1] && tangent == band->tangent &&
         q == band->q;
}

static inline PlanishTwo filter(PlanishDynamicBand *band, PlanishTwo x)
{
  PlanishSvf *svf = &band->svf;
  const PlanishTwo v = x - svf->s2;
  const PlanishTwo middle = band->a1 * svf->s1 + band->a2 * v;
  const PlanishTwo low = svf->s2 + band->a2 * svf->s1 + band->a3 * v;
  svf->s1 = planish_both(2.0) * middle - svf->s1;
  svf->s2 = planish_both(2.0) * low - svf->s2;
  return band->m0 * x + band->m1 * middle + band->m2 * low;
}

/* A = 10^(dB/40) of every frame; there is room for whole registers. */
PLANISH_WIDE static void find_roots(const double *gain, double *roots, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; i += PLANISH_LANES) {
    const PlanishFour half = planish_all(0.5) * planish_four_load(gain + i);
    planish_four_store(roots + i, planish_four_gain_of(half));
  }
}

/* Of one lane, then of the other, unless linked gains agree: then of both at once. */
typedef struct {
  double values[2 * PLANISH_GRID + PLANISH_LANES];
  const double *lane[2];
} Roots;

static void find_both_roots(const double *const gain[2], Roots *roots, uint32_t frames)
{
  double gains[2 * PLANISH_GRID + PLANISH_LANES];
  const size_t size = frames * sizeof(double);
  const bool linked = memcmp(gain[0], gain[1], size) == 0;
  uint32_t count = frames;
  memcpy(gains, gain[0], size);
  if (!linked) {
    memcpy(gains + frames, gain[1], size);
    count = 2 * frames;
  }
  for (uint32_t i = count; i % PLANISH_LANES != 0; ++i) {
    gains[i] = 0.0;
  }
  find_roots(gains, roots->values, count);
  roots->lane[0] = roots->values;
  roots->lane[1] = linked ? roots->values : roots->values + frames;
}

/* By gains that stand still, as they mostly do at 0 dB. */
static void process_standing(PlanishDynamicBand *band, double *const audio[2], uint32_t frames)
{
  if (band->type != PLANISH_BAND_FULL) {
    PlanishDynamicBand still = *band;
    for (uint32_t i = 0; i < frames; ++i) {
      const PlanishTwo y = filter(&still, (PlanishTwo){audio[0][i], audio[1][i]});
      audio[0][i] = y[0];
      audio[1][i] = y[1];
    }
    band->svf = still.svf;
    return;
  }
  for (uint32_t c = 0; c < 2; ++c) {
    const double factor = band->m0[c];
    for (uint32_t i = 0; i < frames; ++i) {
      audio[c][i] *= factor;
    }
  }
}

static void process_full(const Roots *roots, double *const audio[2], uint32_t frames)
{
  for (uint32_t c = 0; c < 2; ++c) {
    for (uint32_t i = 0; i < frames; ++i) {
      /* find_roots() has filled them, in whole registers.
       * NOLINTNEXTLINE(clang-analyzer-core.UndefinedBinaryOperatorResult) */
      audio[c][i] *= roots->lane[c][i] * roots->lane[c][i];
    }
  }
}

void planish_dynamic_band_process(PlanishDynamicBand *band, const double *const gain[2],
                                  double tangent, double q, double *const audio[2], uint32_t frames)
{
  if (frames == 0) {
    return;
  }
  const uint32_t last = frames - 1;
  const PlanishTwo first = {gain[0][0], gain[1][0]};
  if (is_made_of(band, first, tangent, q) && planish_all_equal(gain[0], first[0], frames) &&
      planish_all_equal(gain[1], first[1], frames)) {
    process_standing(band, audio, frames);
    return;
  }
  Roots roots;
  find_both_roots(gain, &roots, frames);
  if (band->type == PLANISH_BAND_FULL) {
    process_full(&roots, audio, frames);
    design(band, (PlanishTwo){gain[0][last], gain[1][last]},
           (PlanishTwo){roots.lane[0][last], roots.lane[1][last]}, tangent, q);
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    const PlanishTwo now = {gain[0][i], gain[1][i]};
    if (!is_made_of(band, now, tangent, q)) {
      design(band, now, (PlanishTwo){roots.lane[0][i], roots.lane[1][i]}, tangent, q);
    }
    const PlanishTwo y = filter(band, (PlanishTwo){audio[0][i], audio[1][i]});
    audio[0][i] = y[0];
    audio[1][i] = y[1];
  }
}
