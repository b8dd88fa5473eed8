#include "plugins/attack-sustain-eq/law.h"

#include "common/dsp/eight_floats.h"
#include "common/dsp/maths.h"
#include "common/dsp/spectral_bins.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <string.h>

enum { PARTS = ATTACK_LAW_PARTS };

/* 43 ms. Shorter than 16 bins a part cannot be. */
enum { LENGTH_AT_48K = 2048, SHORTEST = 2 * PLANISH_RANK_LANES * PARTS };

/* Costs beside those of the engine's transform, measured alike. */
enum {
  TAKE_COST = 4,
  BEFORE_COST = 15,
  BEFORE_LOW_COST = 11,
  BEGIN_AROUND_COST = 21,
  AROUND_COST = 7,
  RISE_COST = 4,
  LOW_COST = 3,
  LAY_COST = 17
};

static const double MOST_AHEAD_MS = 100.0;
static const double READING_MS = 300.0;
/* Of the mean power of a bin: what lies lower is not read for moves. */
static const double FAINT = 1e-5;
/* Hz: what lies higher is not read for moves either. */
static const double HIGHEST = 24000.0;

typedef struct {
  uint32_t from;
  uint32_t to;
} Range;

static Range range_of(const AttackLaw *law, uint32_t part)
{
  const uint32_t bins = law->shares.bins / PARTS;
  return (Range){part * bins, (part + 1) * bins};
}

static void begin(void *context)
{
  AttackLaw *const law = context;
  attack_shares_begin(&law->shares, &law->wanted.shares);
  law->turned = law->set;
  law->set = false;
  if (law->turned) {
    tone_set(&law->attack, &law->wanted.attack, law->rate, law->engine.length);
    tone_set(&law->sustain, &law->wanted.sustain, law->rate, law->engine.length);
  }
  law->engine.aside_wanted = law->listening;
  law->newest = (law->newest + 1) % (law->most_ahead + 1);
  law->power *= law->hop_keep;
  law->attack_power *= law->hop_keep;
  law->result_power *= law->hop_keep;
  law->moving = (AttackMove){1.0F, 0};
}

/* The powers of a spectrum that came `ago` hops before the newest. */
static float *powers_ago(const AttackLaw *law, uint32_t ago)
{
  const uint32_t places = law->most_ahead + 1;
  return law->powers + (size_t)((law->newest + places - ago) % places) * law->shares.bins;
}

static void take(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  const Range range = range_of(law, part);
  float *const powers = powers_ago(law, 0);
  planish_spectral_engine_powers(&law->engine, powers + range.from, range.from, range.to);
  attack_shares_take(&law->shares, powers + range.from, range.from, range.to);
}

static void before(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  const Range range = range_of(law, part);
  attack_shares_before(&law->shares, range.from, range.to);
}

static void before_low(void *context, uint32_t chunk)
{
  AttackLaw *const law = context;
  attack_shares_before_low(&law->shares, chunk * PLANISH_RANK_LANES,
                           (chunk + 1) * PLANISH_RANK_LANES);
}

static void begin_around(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  (void)part;
  attack_shares_begin_around(&law->shares);
}

static void around(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  const Range range = range_of(law, part);
  attack_shares_around(&law->shares, range.from, range.to);
}

static void rise(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  const Range range = range_of(law, part);
  attack_shares_rise(&law->shares, range.from, range.to);
}

static void low(void *context, uint32_t chunk)
{
  AttackLaw *const law = context;
  attack_shares_low(&law->shares, chunk * PLANISH_RANK_LANES, (chunk + 1) * PLANISH_RANK_LANES);
}

PLANISH_WIDE static void take_gains(AttackLaw *law, Range range)
{
  const float *const attack = law->attack_curve + range.from;
  const float *const sustain = law->sustain_curve + range.from;
  const float *restrict const share = law->share;
  float *restrict const added = law->added;
  for (uint32_t i = 0; i < range.to - range.from; ++i) {
    added[i] = (sustain[i] - 1.0F) + share[i] * (attack[i] - sustain[i]);
  }
}

static double sum_of(const PlanishEight sums[2])
{
  double sum = 0.0;
  for (uint32_t j = 0; j < 2 * PLANISH_EIGHT; ++j) {
    sum += (double)sums[j / PLANISH_EIGHT][j % PLANISH_EIGHT];
  }
  return sum;
}

/* Sums in lanes, in an order that no register changes. */
PLANISH_WIDE static void take_readings(AttackLaw *law, Range range)
{
  const float *const powers = powers_ago(law, law->ahead) + range.from;
  PlanishEight power[2] = {{0.0F}};
  PlanishEight attack[2] = {{0.0F}};
  PlanishEight result[2] = {{0.0F}};
  for (uint32_t i = 0; i < range.to - range.from; i += 2 * PLANISH_EIGHT) {
    for (uint32_t j = 0; j < 2; ++j) {
      const uint32_t at = i + j * PLANISH_EIGHT;
      const PlanishEight now = planish_eight_load(powers + at);
      const PlanishEight gain = 1.0F + planish_eight_load(law->added + at);
      power[j] += now;
      attack[j] += now * planish_eight_load(law->share + at);
      result[j] += now * gain * gain;
    }
  }
  law->power += sum_of(power);
  law->attack_power += sum_of(attack);
  law->result_power += sum_of(result);
}

/* How far a factor is from 1, up or down alike. */
static float farness(float gain)
{
  return gain < 1.0F ? 1.0F / gain : gain;
}

/* That of the gains of bins that are heard, 0 of others; returns the largest. */
PLANISH_WIDE static float take_farness(float *far, const float *added, const float *powers,
                                       float floor, uint32_t count)
{
  const PlanishEight none = planish_eight_all(0.0F);
  PlanishEight farthest = none;
  for (uint32_t i = 0; i < count; i += PLANISH_EIGHT) {
    const PlanishEight gain = 1.0F + planish_eight_load(added + i);
    const PlanishEight either = planish_eight_max(gain, 1.0F / gain);
    const PlanishEightMask counts =
        planish_eight_less(planish_eight_all(floor), planish_eight_load(powers + i)) &
        planish_eight_less(none, gain);
    const PlanishEight here = planish_eight_choose(counts, either, none);
    planish_eight_store(far + i, here);
    farthest = planish_eight_max(farthest, here);
  }
  return planish_eight_largest(farthest);
}

static void look_for_moves(AttackLaw *law, uint32_t part, Range range)
{
  const uint32_t to = range.to < law->read_bins ? range.to : law->read_bins;
  const uint32_t count = to > range.from ? to - range.from : 0;
  const float *const powers = powers_ago(law, law->ahead) + range.from;
  const double hops = 1.0 / (1.0 - law->hop_keep);
  const float floor = (float)(FAINT * law->power / (hops * law->shares.bins));
  const float farthest = take_farness(law->far, law->added, powers, floor, count);
  if (farthest > farness(law->moving.gain)) {
    uint32_t i = 0;
    while (law->far[i] != farthest) {
      ++i;
    }
    law->moving = (AttackMove){1.0F + law->added[i], range.from + i};
  }
  if (part == PARTS - 1) {
    law->moved = law->moving;
  }
}

static void lay(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  const Range range = range_of(law, part);
  const uint32_t length = law->engine.length;
  attack_shares_get(&law->shares, law->share, range.from, range.to);
  if (law->turned) {
    tone_get(&law->attack, law->attack_curve + range.from, range.from, range.to);
    tone_get(&law->sustain, law->sustain_curve + range.from, range.from, range.to);
  }
  take_gains(law, range);
  take_readings(law, range);
  look_for_moves(law, part, range);
  planish_spectral_path_lay_real(&law->engine.path, length, law->added, range.from, range.to);
  if (law->engine.aside_wanted) {
    for (uint32_t i = 0; i < range.to - range.from; ++i) {
      law->share[i] *= law->attack_curve[range.from + i];
    }
    planish_spectral_path_lay_real(&law->engine.aside, length, law->share, range.from, range.to);
  }
}

uint32_t attack_law_length(double rate)
{
  const uint32_t length = planish_spectral_frame_length(rate, LENGTH_AT_48K);
  return length < SHORTEST ? SHORTEST : length;
}

uint32_t attack_law_hops(double rate, double ms)
{
  const double hop_ms = 1000.0 * attack_law_length(rate) / PLANISH_SPECTRAL_OVERLAP / rate;
  return (uint32_t)(ms / hop_ms + 0.5);
}

PlanishStatus attack_law_setup(AttackLaw *law, PlanishArena *arena, double rate, double longest)
{
  const uint32_t length = attack_law_length(rate);
  const uint32_t most_ahead = attack_law_hops(rate, MOST_AHEAD_MS);
  const double hop_ms = 250.0 * (double)length / rate;
  law->rate = rate;
  law->hop_keep = planish_exp(-hop_ms / READING_MS);
  attack_shares_setup(&law->shares, arena, rate, length, longest, most_ahead);
  const double highest_bin = HIGHEST * (double)length / rate;
  law->read_bins = highest_bin < law->shares.bins
                       ? (uint32_t)highest_bin / PLANISH_EIGHT * PLANISH_EIGHT
                       : law->shares.bins;
  law->most_ahead = most_ahead;
  law->powers = planish_arena_take(arena, (size_t)(most_ahead + 1) * length / 2, sizeof(float));
  law->attack_curve = planish_arena_take(arena, length / 2, sizeof(float));
  law->sustain_curve = planish_arena_take(arena, length / 2, sizeof(float));
  law->share = planish_arena_take(arena, length / 2 / PARTS, sizeof(float));
  law->added = planish_arena_take(arena, length / 2 / PARTS, sizeof(float));
  law->far = planish_arena_take(arena, length / 2 / PARTS, sizeof(float));
  return planish_spectral_engine_setup_with(&law->engine, arena, length,
                                            &(PlanishSpectralExtras){most_ahead, true});
}

void attack_law_reset(AttackLaw *law, uint32_t ahead)
{
  const uint32_t low_chunks = law->shares.low_bins / PLANISH_RANK_LANES;
  const PlanishTask tasks[] = {
      {take, law, PARTS, TAKE_COST},
      {before, law, PARTS, BEFORE_COST},
      {before_low, law, low_chunks, BEFORE_LOW_COST},
      {begin_around, law, 1, BEGIN_AROUND_COST},
      {around, law, PARTS, AROUND_COST},
      {rise, law, PARTS, RISE_COST},
      {low, law, low_chunks, LOW_COST},
      {lay, law, PARTS, LAY_COST},
  };
  planish_spectral_engine_look_ahead(&law->engine, ahead);
  planish_spectral_engine_reset(
      &law->engine, &(PlanishSpectralLaw){begin, law, tasks, sizeof tasks / sizeof *tasks, true});
  attack_shares_reset(&law->shares, ahead);
  memset(law->powers, 0, (size_t)(law->most_ahead + 1) * law->shares.bins * sizeof(float));
  law->ahead = law->engine.ahead;
  law->newest = 0;
  law->power = 0.0;
  law->attack_power = 0.0;
  law->result_power = 0.0;
  law->moving = law->moved = (AttackMove){1.0F, 0};
}

void attack_law_set(AttackLaw *law, const AttackSettings *settings)
{
  law->wanted = *settings;
  law->set = true;
}

void attack_law_process(AttackLaw *law, double *const *audio, double *(*points)[2],
                        uint32_t channels, uint32_t frames)
{
  law->listening = points != NULL;
  if (points == NULL) {
    planish_spectral_engine_process(&law->engine, audio, channels, frames);
    return;
  }
  planish_spectral_engine_process_aside(&law->engine, audio, points[0], channels, frames);
  for (uint32_t c = 0; c < channels; ++c) {
    for (uint32_t i = 0; i < frames; ++i) {
      points[1][c][i] = audio[c][i] - points[0][c][i];
    }
  }
}

double attack_law_share(const AttackLaw *law)
{
  return law->power > 0.0 ? law->attack_power / law->power : 0.0;
}

double attack_law_change(const AttackLaw *law)
{
  return law->power > 0.0 ? planish_level_of_power(law->result_power / law->power) : 0.0;
}

double attack_law_largest(const AttackLaw *law)
{
  return planish_level_of((double)law->moved.gain);
}

double attack_law_largest_freq(const AttackLaw *law)
{
  return law->moved.bin * law->rate / (double)law->engine.length;
}

void attack_law_release(AttackLaw *law)
{
  planish_spectral_engine_release(&law->engine);
}
