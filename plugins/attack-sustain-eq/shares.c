#include "plugins/attack-sustain-eq/shares.h"

#include "common/dsp/maths.h"
#include "common/dsp/running_sum.h"
#include "common/dsp/spectral_maths.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <math.h>
#include <string.h>

enum { LANES = PLANISH_RANK_LANES };

/* The highest crossover, with its fade: Hz. */
static const double LOW_END = 600.0 * 1.19;
/* The low medians are so many times as long. */
static const double LOW_TIMES = 2.5;
/* How fast what has come in below the crossover is taken for sustained: a time constant, ms. */
static const double SETTLING_MS = 300.0;
/* A power over that before by up to this factor (0.2 dB) is no rise: so far steady tones of 45 to
 * 60 Hz waver, of which a frame holds two or three periods. */
static const float RIPPLE = 1.05F;
/* Keeps the logarithm finite; far under the power of any sound. */
static const float NOTHING = 1e-25F;
/* No bin tells more of a rise than this: 20 dB, as log2 of power. */
static const float MOST_RISE = 6.6438562F;
/* 4 dB, alike. */
static const float USUAL_RISE = 1.3287712F;
/* Over the usual by more than this it says no more, alike: what it says of a tone may be no attack
 * at all. */
static const float SURE_RISE = 2.0F;
/* log2 of 0.6, a magnitude: noise is sustained rather than half and half. */
static const float DOUBT = -0.7369656F;
static const double RISE_HZ = 1000.0;
/* log2 of odds beyond which nothing changes any more. */
static const float SURE = 40.0F;

static uint32_t hops_of(const AttackShares *shares, double ms)
{
  const double hops = ms / shares->hop_ms + 0.5;
  return hops < 1.0 ? 1 : (uint32_t)hops;
}

/* The bins within which a rise around each group is looked for. */
static void fill_reach(AttackShares *shares, double rate, uint32_t length)
{
  const uint32_t least = 1 + (uint32_t)(RISE_HZ * (double)length / rate);
  for (uint32_t g = 0; g < shares->bins / ATTACK_GROUP; ++g) {
    const uint32_t middle = g * ATTACK_GROUP + ATTACK_GROUP / 2;
    const uint32_t reach = middle / 2 > least ? middle / 2 : least;
    const uint32_t from = middle > reach ? middle - reach : 1;
    const uint32_t to = middle + reach < shares->bins ? middle + reach : shares->bins;
    shares->reach[g] = (AttackReach){from, to, 1.0 / (double)(to - from)};
  }
}

static uint32_t low_bins_of(double rate, uint32_t length)
{
  const double bins = LOW_END * (double)length / rate + 1.0;
  const uint32_t whole = ((uint32_t)bins + LANES) / LANES * LANES;
  return whole < length / 2 ? whole : length / 2;
}

void attack_shares_setup(AttackShares *shares, PlanishArena *arena, double rate, uint32_t length,
                         double longest, uint32_t most_ahead)
{
  const uint32_t bins = length / 2;
  shares->bins = bins;
  shares->hop_ms = 250.0 * (double)length / rate;
  shares->low_bins = low_bins_of(rate, length);
  planish_rank_rows_setup(&shares->rows, arena, bins, hops_of(shares, longest) + most_ahead);
  planish_rank_rows_setup(&shares->low_rows, arena, shares->low_bins,
                          hops_of(shares, LOW_TIMES * longest) + most_ahead);
  shares->due = planish_arena_take(arena, bins, sizeof(float));
  shares->sequence = planish_arena_take(arena, bins / ATTACK_GROUP, sizeof(float));
  shares->around = planish_arena_take(arena, bins / ATTACK_GROUP, sizeof(float));
  shares->settled = planish_arena_take(arena, shares->low_bins, sizeof(float));
  shares->low = planish_arena_take(arena, shares->low_bins, sizeof(float));
  shares->settling = (float)(1.0 - planish_exp(-shares->hop_ms / SETTLING_MS));
  shares->risen = planish_arena_take(arena, bins + 1, sizeof(double));
  shares->octave = planish_arena_take(arena, bins, sizeof(float));
  shares->reach = planish_arena_take(arena, bins / ATTACK_GROUP, sizeof *shares->reach);
  if (planish_arena_is_filling(arena)) {
    fill_reach(shares, rate, length);
  }
  for (uint32_t k = 0; k < bins && planish_arena_is_filling(arena); ++k) {
    const double bin = k == 0 ? 0.25 : (double)k;
    shares->octave[k] = (float)planish_log2(bin * rate / (double)length);
  }
}

void attack_shares_reset(AttackShares *shares, uint32_t ahead)
{
  const float nothing = planish_log2f(NOTHING);
  const size_t places = (size_t)(shares->rows.most + 1) * shares->bins;
  planish_rank_rows_reset(&shares->rows);
  planish_rank_rows_reset(&shares->low_rows);
  for (size_t i = 0; i < places; ++i) {
    shares->rows.history[i] = nothing;
  }
  memset(shares->settled, 0, shares->low_bins * sizeof(float));
  shares->ahead = ahead;
}

void attack_shares_begin(AttackShares *shares, const AttackSharesSettings *settings)
{
  const uint32_t hops = hops_of(shares, settings->median_time) + shares->ahead;
  const uint32_t low_hops = hops_of(shares, LOW_TIMES * settings->median_time) + shares->ahead;
  shares->newest = planish_rank_rows_begin(&shares->rows, hops);
  shares->low_newest = planish_rank_rows_begin(&shares->low_rows, low_hops);
  shares->power = (float)settings->power;
  shares->crossover = (float)planish_log2(settings->crossover);
}

PLANISH_WIDE void attack_shares_take(AttackShares *shares, const float *power, uint32_t from,
                                     uint32_t to)
{
  float *restrict const newest = shares->newest + from;
  for (uint32_t i = 0; i < to - from; ++i) {
    newest[i] = planish_log2f(power[i] + NOTHING);
  }
}

/* Falls with the power at once, and rises slowly. */
PLANISH_WIDE static void settle(AttackShares *shares, uint32_t from, uint32_t to)
{
  for (uint32_t k = from; k < to; ++k) {
    const float power = planish_exp2f(shares->due[k]);
    const float risen = shares->settled[k] + shares->settling * (power - shares->settled[k]);
    shares->settled[k] = power < risen ? power : risen;
  }
}

void attack_shares_before(AttackShares *shares, uint32_t from, uint32_t to)
{
  planish_rank_rows_take(&shares->rows, from, to);
  const float *const due = planish_rank_rows_ago(&shares->rows, shares->ahead);
  memcpy(shares->due + from, due + from, (to - from) * sizeof(float));
  for (uint32_t k = from; k < to; k += ATTACK_GROUP) {
    shares->sequence[k / ATTACK_GROUP] = due[k];
  }
}

void attack_shares_before_low(AttackShares *shares, uint32_t from, uint32_t to)
{
  memcpy(shares->low_newest + from, shares->newest + from, (to - from) * sizeof(float));
  planish_rank_rows_take(&shares->low_rows, from, to);
  settle(shares, from, to);
}

void attack_shares_begin_around(AttackShares *shares)
{
  planish_rank_window_begin(&shares->window, shares->sequence, shares->bins / ATTACK_GROUP);
}

void attack_shares_around(AttackShares *shares, uint32_t from, uint32_t to)
{
  planish_rank_window_medians(&shares->window, shares->sequence, shares->bins / ATTACK_GROUP,
                              shares->around, from / ATTACK_GROUP, to / ATTACK_GROUP);
}

static inline float within(float x, float most)
{
  return x < -most ? -most : (x > most ? most : x);
}

/* How far a chunk stands over what was, as far as that counts. */
PLANISH_WIDE static void take_over(float *restrict over, const float *restrict due,
                                   const float *restrict before)
{
  for (uint32_t j = 0; j < LANES; ++j) {
    over[j] = within(due[j] - before[j], MOST_RISE);
  }
}

void attack_shares_rise(AttackShares *shares, uint32_t from, uint32_t to)
{
  float over[LANES];
  if (from == 0) {
    shares->risen[0] = 0.0;
  }
  for (uint32_t k = from; k < to; k += LANES) {
    take_over(over, shares->due + k, planish_rank_rows_median(&shares->rows, k));
    planish_running_sum(shares->risen + k, over, 0.0, LANES);
  }
}

/* Where a bin belongs: 0 below the crossover, 1 above. */
static inline float place_of(const AttackShares *shares, uint32_t k)
{
  const float place = 2.0F * (shares->octave[k] - shares->crossover) + 0.5F;
  return place < 0.0F ? 0.0F : (place > 1.0F ? 1.0F : place);
}

/* Fills a chunk with how far the mean around each of its groups lies over the usual. */
static void take_rises(const AttackShares *shares, float *rise, uint32_t k)
{
  for (uint32_t j = 0; j < LANES; j += ATTACK_GROUP) {
    const AttackReach *const r = &shares->reach[(k + j) / ATTACK_GROUP];
    const float over =
        (float)((shares->risen[r->to] - shares->risen[r->from]) * r->share) - USUAL_RISE;
    for (uint32_t i = j; i < j + ATTACK_GROUP; ++i) {
      rise[i] = over < SURE_RISE ? over : SURE_RISE;
    }
  }
}

static inline __attribute__((always_inline)) void
upper_shares(const AttackShares *shares, const float *rise, float *out, uint32_t k)
{
  const float *const before = planish_rank_rows_median(&shares->rows, k);
  const float half = 0.5F * shares->power;
  const float doubt = shares->power * DOUBT;
  float around[LANES];
  for (uint32_t j = 0; j < LANES; ++j) {
    around[j] = shares->around[(k + j) / ATTACK_GROUP];
  }
  for (int j = 0; j < LANES; ++j) {
    const float odds = half * (around[j] - before[j]) + doubt + 2.0F * rise[j];
    out[j] = 1.0F - 1.0F / (1.0F + planish_exp2f(within(odds, SURE)));
  }
}

/* Of a chunk below the crossover. */
PLANISH_WIDE static void lower_shares(float *restrict low, const float *restrict due,
                                      const float *restrict before, const float *restrict settled,
                                      const float *restrict rise)
{
  for (uint32_t j = 0; j < LANES; ++j) {
    const float level = planish_log2f(settled[j] + NOTHING);
    const float base = before[j] > level ? before[j] : level;
    const float over = planish_exp2f(within(due[j] - base, SURE)) - RIPPLE;
    /* The larger of that and 0, without a branch. */
    const float odds = 0.5F * (over + fabsf(over)) * planish_exp2f(within(rise[j], SURE));
    low[j] = 1.0F - 1.0F / (1.0F + odds);
  }
}

void attack_shares_low(AttackShares *shares, uint32_t from, uint32_t to)
{
  float rise[LANES];
  for (uint32_t k = from; k < to; k += LANES) {
    take_rises(shares, rise, k);
    lower_shares(shares->low + k, shares->due + k, planish_rank_rows_median(&shares->low_rows, k),
                 shares->settled + k, rise);
  }
}

/* Fades from the low shares to those above. */
static inline __attribute__((always_inline)) void fade_low(const AttackShares *shares, float *out,
                                                           uint32_t k)
{
  const float *const low = shares->low + k;
  for (uint32_t j = 0; j < LANES; ++j) {
    out[j] = low[j] + place_of(shares, k + j) * (out[j] - low[j]);
  }
}

PLANISH_WIDE void attack_shares_get(const AttackShares *shares, float *out, uint32_t from,
                                    uint32_t to)
{
  float rise[LANES];
  for (uint32_t k = from; k < to; k += LANES) {
    float *const here = out + (k - from);
    take_rises(shares, rise, k);
    upper_shares(shares, rise, here, k);
    if (k < shares->low_bins) {
      fade_low(shares, here, k);
    }
  }
}
