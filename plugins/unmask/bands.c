#include "plugins/unmask/bands.h"

#include "common/dsp/k_weighting.h"
#include "common/dsp/maths.h"

#include <string.h>

#define LOWEST          40.0 /* Hz */
#define HIGHEST         16000.0
#define MOST_RATE_SHARE 0.45 /* of the rate that the highest band may lie at */
#define DOWNWARDS       27.0 /* dB a Bark */
#define UPWARDS         10.0

static double erb_number(double hz)
{
  return 21.4 * log10(1.0 + 0.00437 * hz);
}

static double hz_of(double number)
{
  return (pow(10.0, number / 21.4) - 1.0) / 0.00437;
}

/* Bands apart, in ERB numbers. */
static double spacing(void)
{
  return (erb_number(HIGHEST) - erb_number(LOWEST)) / (UNMASK_BANDS - 1);
}

static double bark(double hz)
{
  return 7.0 * asinh(hz / 650.0);
}

static void place(UnmaskBands *bands, double rate)
{
  const PlanishKWeightingCoefs weighting = planish_k_weighting_design(rate);
  const double lowest = erb_number(LOWEST);
  const double highest = erb_number(planish_min(HIGHEST, MOST_RATE_SHARE * rate));
  const double step = spacing();
  bands->count = 0;
  for (uint32_t i = 0; i < UNMASK_BANDS && lowest + step * i <= highest + 1e-9; ++i) {
    const double hz = hz_of(lowest + step * i);
    bands->frequency[i] = hz;
    bands->octave[i] = log2(hz);
    bands->width[i] = 24.7 * (1.0 + 0.00437 * hz);
    bands->weight[i] = planish_k_weighting_power(&weighting, hz / rate);
    bands->count = i + 1;
  }
}

static void spread(UnmaskBands *bands)
{
  for (uint32_t of = 0; of < bands->count; ++of) {
    for (uint32_t by = 0; by < bands->count; ++by) {
      const double way = bark(bands->frequency[of]) - bark(bands->frequency[by]);
      const double slope = way > 0.0 ? UPWARDS : DOWNWARDS;
      bands->masks[of][by] = of == by ? 0.0 : pow(10.0, -0.1 * slope * fabs(way));
    }
  }
}

/* Where each bin lies, and what pink noise makes of the bands. */
static void measure(UnmaskBands *bands, double rate, uint32_t length)
{
  const double lowest = erb_number(LOWEST);
  const double last = (double)(bands->count - 1);
  uint32_t under = 0;
  for (uint32_t k = 0; k < length / 2; ++k) {
    const double number = erb_number(k * rate / (double)length);
    const double at = planish_clamp((number - lowest) / spacing(), 0.0, last);
    while (under + 2 < bands->count && at >= under + 1.0) {
      bands->first[++under] = k;
    }
    const double share = at - under;
    bands->share[k] = (float)share;
    if (k > 0) {
      bands->even[under] += (1.0 - share) / k;
      bands->even[under + 1] += share / k;
    }
  }
  bands->first[bands->count - 1] = length / 2;
}

void unmask_bands_setup(UnmaskBands *bands, PlanishArena *arena, double rate, uint32_t length)
{
  bands->share = planish_arena_take(arena, length / 2, sizeof *bands->share);
  if (planish_arena_is_filling(arena)) {
    memset(bands->even, 0, sizeof bands->even);
    bands->first[0] = 0;
    place(bands, rate);
    spread(bands);
    measure(bands, rate, length);
  }
}
