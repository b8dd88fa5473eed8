#include "plugins/attack-sustain-eq/law.h"

#include "common/dsp/maths.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <string.h>

enum { PARTS = ATTACK_LAW_PARTS };

/* 43 ms. Shorter than 16 bins a part cannot be. */
enum { LENGTH_AT_48K = 2048, SHORTEST = 2 * PLANISH_RANK_LANES * PARTS };

/* Costs beside those of the engine's transform, measured alike. */
enum { TAKE_COST = 3, BEFORE_COST = 10, AROUND_COST = 10, RISE_COST = 4, LAY_COST = 20 };

static const double MOST_AHEAD_MS = 100.0;
static const double READING_MS = 300.0;

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
  if (law->set) {
    tone_set(&law->attack, &law->wanted.attack, law->rate, law->engine.length);
    tone_set(&law->sustain, &law->wanted.sustain, law->rate, law->engine.length);
    law->set = false;
  }
  law->engine.aside_wanted = law->listening;
  law->power *= law->hop_keep;
  law->attack_power *= law->hop_keep;
  law->result_power *= law->hop_keep;
}

static void take(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  const Range range = range_of(law, part);
  for (uint32_t k = range.from; k < range.to; ++k) {
    law->scratch[k - range.from] = planish_spectral_engine_power(&law->engine, k);
  }
  attack_shares_take(&law->shares, law->scratch, range.from, range.to);
}

static void before(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  const Range range = range_of(law, part);
  attack_shares_before(&law->shares, range.from, range.to);
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

/* Bin k and its mirror image; the last bin gives its gain to half the rate as well. */
static void lay_on(const AttackLaw *law, const PlanishSpectralPath *path, uint32_t k, float gain)
{
  const uint32_t length = law->engine.length;
  planish_spectral_path_lay(path, length, k, (PlanishComplex){gain, 0.0F});
  if (k == length / 2 - 1) {
    path->gains[length / 2] = (PlanishComplex){gain, 0.0F};
  }
}

static void lay(void *context, uint32_t part)
{
  AttackLaw *const law = context;
  const Range range = range_of(law, part);
  const uint32_t bins = range.to - range.from;
  float *const share = law->scratch;
  float *const attack = share + bins;
  float *const sustain = attack + bins;
  attack_shares_get(&law->shares, share, range.from, range.to);
  tone_get(&law->attack, attack, range.from, range.to);
  tone_get(&law->sustain, sustain, range.from, range.to);
  float sums[3] = {0.0F, 0.0F, 0.0F};
  for (uint32_t i = 0; i < bins; ++i) {
    const uint32_t k = range.from + i;
    const float added = (sustain[i] - 1.0F) + share[i] * (attack[i] - sustain[i]);
    const float power = planish_spectral_power(law->engine.due, law->engine.length, k);
    sums[0] += power;
    sums[1] += power * share[i];
    sums[2] += power * (1.0F + added) * (1.0F + added);
    lay_on(law, &law->engine.path, k, added);
    if (law->engine.aside_wanted) {
      lay_on(law, &law->engine.aside, k, share[i] * attack[i]);
    }
  }
  law->power += (double)sums[0];
  law->attack_power += (double)sums[1];
  law->result_power += (double)sums[2];
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
  law->scratch = planish_arena_take(arena, 3 * (size_t)length / 2 / PARTS, sizeof(float));
  return planish_spectral_engine_setup_with(&law->engine, arena, length,
                                            &(PlanishSpectralExtras){most_ahead, true});
}

void attack_law_reset(AttackLaw *law, uint32_t ahead)
{
  const PlanishTask tasks[] = {
      {take, law, PARTS, TAKE_COST},     {before, law, PARTS, BEFORE_COST},
      {around, law, PARTS, AROUND_COST}, {rise, law, PARTS, RISE_COST},
      {lay, law, PARTS, LAY_COST},
  };
  planish_spectral_engine_look_ahead(&law->engine, ahead);
  planish_spectral_engine_reset(
      &law->engine, &(PlanishSpectralLaw){begin, law, tasks, sizeof tasks / sizeof *tasks});
  attack_shares_reset(&law->shares, ahead);
  law->power = 0.0;
  law->attack_power = 0.0;
  law->result_power = 0.0;
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

void attack_law_release(AttackLaw *law)
{
  planish_spectral_engine_release(&law->engine);
}
