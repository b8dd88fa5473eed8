/* What the spectral engine costs beside FFTW's bare transforms of the same length, and how evenly
 * its work falls on blocks of 64 frames. Thread CPU time, the least of many rounds: what other
 * processes take is not counted. */
#include "common/dsp/minimum_phase.h"
#include "common/dsp/spectral_bins.h"
#include "common/dsp/spectral_engine.h"
#include "tests/bench/hop_cost.h"
#include "tests/unit/arena_fixture.h"

#include <stdio.h>

enum { BLOCK = 32, PAIR = 2 * BLOCK };

typedef struct {
  PlanishSpectralEngine engine;
  PlanishMinimumPhase phase;
  double audio[2][BLOCK];
} Bench;

static void lay(void *context, uint32_t part)
{
  Bench *const bench = context;
  const uint32_t bins = bench->engine.length / 32;
  for (uint32_t k = part * bins; k < (part + 1) * bins; ++k) {
    planish_spectral_engine_lay(&bench->engine, k, bench->phase.added[k]);
  }
}

/* A block of 64 frames, as the frame hands it over. */
static double block_time(void *context)
{
  Bench *const bench = context;
  double *const audio[2] = {bench->audio[0], bench->audio[1]};
  const double start = seconds();
  planish_spectral_engine_process(&bench->engine, audio, 2, BLOCK);
  planish_spectral_engine_process(&bench->engine, audio, 2, BLOCK);
  return seconds() - start;
}

static Cost cost_of(Bench *bench, const PlanishSpectralLaw *law)
{
  planish_spectral_engine_reset(&bench->engine, law);
  return cost_of_hop(block_time, bench, bench->engine.hop / PAIR);
}

static PlanishArena take(Bench *bench, PlanishArena arena, uint32_t length)
{
  planish_spectral_engine_setup(&bench->engine, &arena, length);
  planish_minimum_phase_setup(&bench->phase, &arena, length, 0.5);
  return arena;
}

int main(void)
{
  static Bench bench;
  printf("frame   engine / two bare transforms, worst block of 64; with minimum phase / all bare "
         "transforms, worst block\n");
  for (uint32_t length = 2048; length <= 16384; length *= 2) {
    memset(&bench, 0, sizeof bench);
    const PlanishArena counted = take(&bench, planish_arena_counting(), length);
    const PlanishArena arena = arena_for(counted);
    take(&bench, arena, length);
    PlanishTask tasks[PLANISH_MINIMUM_PHASE_TASKS + 1];
    uint32_t count = planish_minimum_phase_tasks(&bench.phase, tasks);
    tasks[count++] = (PlanishTask){lay, &bench, 16, 12};
    const double bare = bare_time(length);
    const double half = bare_time(length / 2);
    const Cost plain = cost_of(&bench, &(PlanishSpectralLaw){NULL, &bench, tasks, 0, false});
    const Cost all = cost_of(&bench, &(PlanishSpectralLaw){NULL, &bench, tasks, count, false});
    printf("%5u   %.2f, %.2f; %.2f, %.2f\n", length, plain.hop / (2.0 * bare), plain.worst,
           all.hop / (2.0 * bare + 2.0 * half), all.worst);
    planish_spectral_engine_release(&bench.engine);
    planish_minimum_phase_release(&bench.phase);
    free(arena.block);
  }
  return 0;
}
