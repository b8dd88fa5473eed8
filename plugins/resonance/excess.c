#include "plugins/resonance/excess.h"

#include "common/dsp/maths.h"
#include "common/dsp/spectral_maths.h"
#include "common/dsp/trig.h"

#include <string.h>

static const double POWER_MS = 50.0;
static const double SILENCE_DB = -80.0;
/* Half of the octave of surroundings, and the least that they leave out in the middle. */
static const float AROUND = 1.41421356F;
static const double LEAST_MIDDLE = 1.0 / 8.0;
/* So wide is the middle at least for a narrow band, which must not reach beyond it. */
static const double MIDDLE_FOR_BAND = 1.5;
/* Far under the power of any sound; keeps the logarithm finite. */
static const float NOTHING = 1e-25F;

void resonance_excess_setup(ResonanceExcess *excess, PlanishArena *arena, double rate,
                            uint32_t length)
{
  const double hop = (double)length / PLANISH_SPECTRAL_OVERLAP;
  excess->bins = length / 2 + 1;
  excess->power = planish_arena_take(arena, excess->bins, sizeof(float));
  excess->level = planish_arena_take(arena, excess->bins, sizeof(float));
  excess->power_up = planish_arena_take(arena, excess->bins + 1, sizeof(double));
  excess->level_up = planish_arena_take(arena, excess->bins + 1, sizeof(double));
  excess->keep = (float)planish_exp(-hop / (0.001 * POWER_MS * rate));
  /* Parseval's sum over half the bins; the window leaves 3/8 of the power. */
  excess->silence =
      (float)(planish_gain_of(2.0 * SILENCE_DB) * 0.1875 * (double)length * (double)length);
}

void resonance_excess_reset(ResonanceExcess *excess)
{
  memset(excess->power, 0, excess->bins * sizeof(float));
}

void resonance_excess_set(ResonanceExcess *excess, double bandwidth)
{
  const double middle = planish_max(LEAST_MIDDLE, MIDDLE_FOR_BAND * bandwidth);
  excess->narrow = (float)planish_exp2(0.5 * bandwidth);
  excess->middle = (float)planish_exp2(0.5 * middle);
}

void resonance_excess_take_power(ResonanceExcess *excess, const PlanishSpectralEngine *engine,
                                 uint32_t from, uint32_t to)
{
  const float keep = excess->keep;
  double sum = from == 0 ? 0.0 : excess->power_up[from];
  for (uint32_t k = from; k < to; ++k) {
    const float now = planish_spectral_engine_power(engine, k);
    const float power = now + keep * (excess->power[k] - now);
    excess->power[k] = power;
    excess->power_up[k] = sum;
    sum += (double)(power + NOTHING);
  }
  excess->power_up[to] = sum;
}

/* A stretch of the axis of bins, where bin k lies from k to k + 1. */
typedef struct {
  float from;
  float to;
} Stretch;

/* Around bin k by a factor each way, and at least `reach` bins each way. */
static inline Stretch around(const ResonanceExcess *excess, uint32_t k, float factor, float reach)
{
  const float at = (float)k;
  const float low = at / factor;
  const float high = at * factor;
  const float end = (float)excess->bins;
  const float from = (low < at - reach ? low : at - reach) + 0.5F;
  const float to = (high > at + reach ? high : at + reach) + 0.5F;
  return (Stretch){from < 0.0F ? 0.0F : from, to > end ? end : to};
}

/* The running sum at a place between two bins. */
static inline double sum_to(const double *up, float place, uint32_t bins)
{
  const uint32_t k = (uint32_t)place;
  return k >= bins ? up[bins] : up[k] + (double)(place - (float)k) * (up[k + 1] - up[k]);
}

static inline double sum_over(const double *up, Stretch s, uint32_t bins)
{
  return sum_to(up, s.to, bins) - sum_to(up, s.from, bins);
}

void resonance_excess_take_level(ResonanceExcess *excess, uint32_t from, uint32_t to)
{
  double sum = from == 0 ? 0.0 : excess->level_up[from];
  for (uint32_t k = from; k < to; ++k) {
    const Stretch s = around(excess, k, excess->narrow, 1.5F);
    const double mean = sum_over(excess->power_up, s, excess->bins) / (double)(s.to - s.from);
    /* Rounding of the sums can leave less than the nothing that went in. */
    const float power = mean > (double)NOTHING ? (float)mean : NOTHING;
    const float level = planish_log2f(power) * (float)(0.5 * PLANISH_LOG2_TO_DB);
    excess->level[k] = level;
    excess->level_up[k] = sum;
    sum += (double)level;
  }
  excess->level_up[to] = sum;
}

void resonance_excess_get(const ResonanceExcess *excess, float *out, uint32_t from, uint32_t to)
{
  const double *const up = excess->level_up;
  for (uint32_t k = from; k < to; ++k) {
    const Stretch wide = around(excess, k, AROUND, 4.5F);
    const Stretch middle = around(excess, k, excess->middle, 2.5F);
    const double sum = sum_over(up, wide, excess->bins) - sum_over(up, middle, excess->bins);
    const float width = (wide.to - wide.from) - (middle.to - middle.from);
    out[k - from] = excess->level[k] - (float)(sum / (double)width);
  }
}

bool resonance_excess_is_silent(const ResonanceExcess *excess)
{
  return excess->power_up[excess->bins] < (double)excess->silence;
}
