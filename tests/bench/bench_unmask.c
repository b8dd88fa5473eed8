/* What the unmasking equaliser costs beside FFTW's bare transforms of its frame, one there and one
 * back for both channels, and how evenly its work falls on blocks of 64 frames. */
#include "plugins/unmask/law.h"
#include "tests/bench/hop_cost.h"
#include "tests/unit/arena_fixture.h"

#include <stdio.h>

enum { BLOCK = 32, PAIR = 2 * BLOCK, NOISE = 1 << 16 };

typedef struct {
  UnmaskLaw law;
  double noise[2][NOISE];
  uint32_t at;
} Bench;

static double block_time(void *context)
{
  Bench *const bench = context;
  double audio[2][PAIR];
  bench->at = (bench->at + PAIR) % NOISE;
  for (int c = 0; c < 2; ++c) {
    memcpy(audio[c], bench->noise[c] + bench->at, sizeof audio[c]);
  }
  const double start = seconds();
  for (int half = 0; half < PAIR; half += BLOCK) {
    unmask_law_process(&bench->law, (double *const[2]){audio[0] + half, audio[1] + half}, 2, BLOCK);
  }
  return seconds() - start;
}

static void bench_at(Bench *bench, double rate)
{
  memset(&bench->law, 0, sizeof bench->law);
  PlanishArena counting = planish_arena_counting();
  unmask_law_setup(&bench->law, &counting, rate);
  unmask_law_release(&bench->law);
  PlanishArena arena = arena_for(counting);
  unmask_law_setup(&bench->law, &arena, rate);
  unmask_law_reset(&bench->law);
  unmask_law_set(&bench->law,
                 &(UnmaskSettings){1.0, 3.0, 0.0, 3.0, 0.3, {{80.0, 14000.0}, {1.0, 0.0}}});
  const double bare = bare_time(bench->law.engine.length);
  const Cost cost = cost_of_hop(block_time, bench, bench->law.engine.hop / PAIR);
  printf("%6.0f Hz, frame %u: %.2f times two bare transforms, worst block %.2f\n", rate,
         bench->law.engine.length, cost.hop / (2.0 * bare), cost.worst);
  unmask_law_release(&bench->law);
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
  bench_at(&bench, 48000.0);
  bench_at(&bench, 96000.0);
  return 0;
}
