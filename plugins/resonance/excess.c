#include "plugins/resonance/excess.h"

#include "common/dsp/four_lanes.h"
#include "common/dsp/maths.h"
#include "common/dsp/running_sum.h"
#include "common/dsp/spectral_bins.h"
#include "common/dsp/spectral_maths.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

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
/* Behind the last bin, so that all are read by four; what comes of it counts nowhere. */
enum { SPARE = 3 };

static void stretches_setup(ResonanceStretches *stretches, PlanishArena *arena, uint32_t bins,
                            float reach)
{
  *stretches = (ResonanceStretches){.reach = reach};
  stretches->from = planish_arena_take(arena, bins + SPARE, sizeof(uint16_t));
  stretches->to = planish_arena_take(arena, bins + SPARE, sizeof(uint16_t));
  stretches->from_share = planish_arena_take(arena, bins + SPARE, sizeof(float));
  stretches->to_share = planish_arena_take(arena, bins + SPARE, sizeof(float));
  stretches->width = planish_arena_take(arena, bins + SPARE, sizeof(float));
}

static void stretches_set(ResonanceStretches *stretches, float factor)
{
  if (factor != stretches->factor) {
    stretches->factor = factor;
    stretches->laid = 0;
  }
}

/* Bin k lies from k to k + 1; its stretch goes by the factor each way. */
PLANISH_WIDE static void lay_stretches(ResonanceStretches *stretches, uint32_t bins, uint32_t from,
                                       uint32_t to)
{
  const float end = (float)bins;
  for (uint32_t k = from; k < to; ++k) {
    const float at = (float)(int32_t)k;
    const float low = at / stretches->factor;
    const float high = at * stretches->factor;
    const float least = at - stretches->reach;
    const float most = at + stretches->reach;
    const float lower = (low < least ? low : least) + 0.5F;
    const float upper = (high > most ? high : most) + 0.5F;
    const float first = lower < 0.0F ? 0.0F : lower;
    const float last = upper > end ? end : upper;
    const int32_t whole_first = (int32_t)first;
    const int32_t whole_last = (int32_t)last;
    stretches->from[k] = (uint16_t)whole_first;
    stretches->to[k] = (uint16_t)whole_last;
    stretches->from_share[k] = first - (float)whole_first;
    stretches->to_share[k] = last - (float)whole_last;
    stretches->width[k] = last - first;
  }
}

/* For bins from..to-1, in order; true where they are laid out anew. */
static bool stretches_need(ResonanceStretches *stretches, uint32_t bins, uint32_t from, uint32_t to)
{
  if (stretches->laid >= to) {
    return false;
  }
  lay_stretches(stretches, bins, from, to);
  stretches->laid = to;
  return true;
}

static void need_surroundings(ResonanceExcess *excess, uint32_t from, uint32_t to)
{
  const bool wide = stretches_need(&excess->wide, excess->bins, from, to);
  const bool middle = stretches_need(&excess->middle, excess->bins, from, to);
  for (uint32_t k = from; (wide || middle) && k < to; ++k) {
    excess->rest[k] = excess->wide.width[k] - excess->middle.width[k];
  }
}

void resonance_excess_setup(ResonanceExcess *excess, PlanishArena *arena, double rate,
                            uint32_t length)
{
  const double hop = (double)length / PLANISH_SPECTRAL_OVERLAP;
  excess->bins = length / 2 + 1;
  excess->power = planish_arena_take(arena, excess->bins, sizeof(float));
  excess->level = planish_arena_take(arena, excess->bins + SPARE, sizeof(float));
  /* One more than there are sums, for what begins at the end and has no width. */
  excess->power_up = planish_arena_take(arena, excess->bins + 2, sizeof(double));
  excess->level_up = planish_arena_take(arena, excess->bins + 2, sizeof(double));
  stretches_setup(&excess->narrow, arena, excess->bins, 1.5F);
  stretches_setup(&excess->wide, arena, excess->bins, 4.5F);
  stretches_setup(&excess->middle, arena, excess->bins, 2.5F);
  excess->rest = planish_arena_take(arena, excess->bins + SPARE, sizeof(float));
  stretches_set(&excess->wide, AROUND);
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
  stretches_set(&excess->narrow, (float)planish_exp2(0.5 * bandwidth));
  stretches_set(&excess->middle, (float)planish_exp2(0.5 * middle));
}

typedef double Two __attribute__((vector_size(16), aligned(8), may_alias));

/* A running sum at four places, each within the bin that it lies in. */
PLANISH_INLINED PlanishFour sums_to(const double *up, const uint16_t *at, const float *share)
{
  const PlanishFour shares = {(double)share[0], (double)share[1], (double)share[2],
                              (double)share[3]};
  const Two a = *(const Two *)(up + at[0]);
  const Two b = *(const Two *)(up + at[1]);
  const Two c = *(const Two *)(up + at[2]);
  const Two d = *(const Two *)(up + at[3]);
  const PlanishFour one = __builtin_shufflevector(a, c, 0, 1, 2, 3);
  const PlanishFour other = __builtin_shufflevector(b, d, 0, 1, 2, 3);
  const PlanishFour under = __builtin_shufflevector(one, other, 0, 4, 2, 6);
  const PlanishFour over = __builtin_shufflevector(one, other, 1, 5, 3, 7);
  return under + shares * (over - under);
}

/* Over the stretches of bins k to k + 3; behind the last bin there are more to read. */
PLANISH_INLINED PlanishFour sums_over(const double *up, const ResonanceStretches *stretches,
                                      uint32_t k)
{
  return sums_to(up, stretches->to + k, stretches->to_share + k) -
         sums_to(up, stretches->from + k, stretches->from_share + k);
}

PLANISH_WIDE static void follow(float *restrict power, const float *restrict now, float keep,
                                uint32_t count)
{
  for (uint32_t i = 0; i < count; ++i) {
    power[i] = now[i] + keep * (power[i] - now[i]);
  }
}

void resonance_excess_take_power(ResonanceExcess *excess, const PlanishSpectralEngine *engine,
                                 uint32_t from, uint32_t to)
{
  /* Levels have not come in yet: their place will do. */
  float *const now = excess->level + from;
  planish_spectral_engine_powers(engine, now, from, to);
  follow(excess->power + from, now, excess->keep, to - from);
  planish_running_sum(excess->power_up + from, excess->power + from, (double)NOTHING, to - from);
}

PLANISH_INLINED PlanishFour widened(const float *x)
{
  return __builtin_convertvector(planish_four_floats_load(x), PlanishFour);
}

/* `count` of four. */
PLANISH_INLINED void store_floats(float *to, PlanishFourFloats four, uint32_t count)
{
  memcpy(to, &four, count < PLANISH_LANES ? count * sizeof *to : sizeof four);
}

/* Divisions are under way while other places are looked up. */
PLANISH_INLINED PlanishFourFloats means_over(const double *up, const ResonanceStretches *stretches,
                                             uint32_t k)
{
  const PlanishFour mean = sums_over(up, stretches, k) / widened(stretches->width + k);
  return __builtin_convertvector(mean, PlanishFourFloats);
}

PLANISH_WIDE static void take_means(float *restrict means, const double *up,
                                    const ResonanceStretches *stretches, uint32_t from, uint32_t to)
{
  const ResonanceStretches still = *stretches;
  uint32_t k = from;
  for (; k + PLANISH_LANES <= to; k += PLANISH_LANES) {
    store_floats(means + (k - from), means_over(up, &still, k), PLANISH_LANES);
  }
  if (k < to) {
    store_floats(means + (k - from), means_over(up, &still, k), to - k);
  }
}

PLANISH_WIDE static void level_of(float *restrict means, uint32_t count)
{
  for (uint32_t i = 0; i < count; ++i) {
    /* Rounding of the sums can leave less than the nothing that went in. */
    const float mean = means[i] > NOTHING ? means[i] : NOTHING;
    means[i] = planish_log2f(mean) * (float)(0.5 * PLANISH_LOG2_TO_DB);
  }
}

void resonance_excess_take_level(ResonanceExcess *excess, uint32_t from, uint32_t to)
{
  stretches_need(&excess->narrow, excess->bins, from, to);
  take_means(excess->level + from, excess->power_up, &excess->narrow, from, to);
  level_of(excess->level + from, to - from);
  planish_running_sum(excess->level_up + from, excess->level + from, 0.0, to - from);
}

/* Of bins k to k + 3. */
PLANISH_INLINED PlanishFourFloats stand_out(const ResonanceExcess *excess, uint32_t k)
{
  const double *const up = excess->level_up;
  const PlanishFour sums = sums_over(up, &excess->wide, k) - sums_over(up, &excess->middle, k);
  const PlanishFour around = sums / widened(excess->rest + k);
  return planish_four_floats_load(excess->level + k) -
         __builtin_convertvector(around, PlanishFourFloats);
}

PLANISH_WIDE static void take_out(float *restrict out, const ResonanceExcess *excess, uint32_t from,
                                  uint32_t to)
{
  const ResonanceExcess still = *excess;
  uint32_t k = from;
  for (; k + PLANISH_LANES <= to; k += PLANISH_LANES) {
    store_floats(out + (k - from), stand_out(&still, k), PLANISH_LANES);
  }
  if (k < to) {
    store_floats(out + (k - from), stand_out(&still, k), to - k);
  }
}

void resonance_excess_get(ResonanceExcess *excess, float *out, uint32_t from, uint32_t to)
{
  need_surroundings(excess, from, to);
  take_out(out, excess, from, to);
}

bool resonance_excess_is_silent(const ResonanceExcess *excess)
{
  return excess->power_up[excess->bins] < (double)excess->silence;
}
