/* What the attack/sustain equaliser costs beside FFTW's bare transforms of its frame, one there and
 * one back for both channels, and how evenly its work falls on blocks of 64 frames. */
#include "plugins/attack-sustain-eq/law.h"
#include "tests/bench/hop_cost.h"
#include "tests/unit/arena_fixture.h"

#include <stdio.h>

enum { BLOCK = 32, PAIR = 2 * BLOCK, NOISE = 1 << 16 };

typedef struct {
  AttackLaw law;
  double noise[2][NOISE];
  double point[2][2][BLOCK];
  uint32_t at;
  bool listening;
} Bench;

static double block_time(void *context)
{
  Bench *const bench = context;
  double audio[2][PAIR];
  bench->at = (bench->at + PAIR) % NOISE;
  for (int c = 0; c < 2; ++c) {
    memcpy(audio[c], bench->noise[c] + bench->at, sizeof audio[c]);
  }
  double *points[2][2] = {{bench->point[0][0], bench->point[0][1]},
                          {bench->point[1][0], bench->point[1][1]}};
  const double start = seconds();
  for (int half = 0; half < PAIR; half += BLOCK) {
    attack_law_process(&bench->law, (double *const[2]){audio[0] + half, audio[1] + half},
                       bench->listening ? points : NULL, 2, BLOCK);
  }
  return seconds() - start;
}

static AttackSettings settings_of(double median_time)
{
  AttackSettings settings = {.shares = {250.0, median_time, 3.0}};
  ToneSettings *const tones[2] = {&settings.attack, &settings.sustain};
  for (int part = 0; part < 2; ++part) {
    for (int b = 0; b < TONE_BANDS; ++b) {
      tones[part]->bands[b] = (PlanishEqSetting){PLANISH_EQ_PEAKING, 1, 200.0 * (b + 1), 2.0, 1.0};
    }
    tones[part]->gain = part == 0 ? 2.0 : -1.0;
  }
  return settings;
}

static void bench_at(Bench *bench, double rate, double median_time, bool listening)
{
  memset(&bench->law, 0, sizeof bench->law);
  PlanishArena counting = planish_arena_counting();
  attack_law_setup(&bench->law, &counting, rate, 400.0);
  planish_spectral_engine_release(&bench->law.engine);
  PlanishArena arena = arena_for(counting);
  attack_law_setup(&bench->law, &arena, rate, 400.0);
  attack_law_reset(&bench->law, 0);
  const AttackSettings settings = settings_of(median_time);
  attack_law_set(&bench->law, &settings);
  bench->listening = listening;
  const double bare = bare_time(bench->law.engine.length);
  const Cost cost = cost_of_hop(block_time, bench, bench->law.engine.hop / PAIR);
  printf("%6.0f Hz, frame %u, median %.0f ms%s: %.2f times two bare transforms, worst block %.2f\n",
         rate, bench->law.engine.length, median_time, listening ? ", listening" : "",
         cost.hop / (2.0 * bare), cost.worst);
  attack_law_release(&bench->law);
  free(arena.block);
}

int main(void)
{
  static Bench bench;
  uint32_t seed = 1;
  for (uint32_t n = 0; n < NOISE; ++n) {
    for (int c = 0; c < 2; ++c) {
      seed = seed * 1664525U + 1013904223U;
      bench.noise[c][n] = (double)(int32_t)seed / 4294967296.0;
    }
  }
  bench_at(&bench, 48000.0, 220.0, false);
  bench_at(&bench, 48000.0, 400.0, false);
  bench_at(&bench, 48000.0, 220.0, true);
  bench_at(&bench, 96000.0, 220.0, false);
  bench_at(&bench, 192000.0, 220.0, false);
  return 0;
}
