/* What the spectral engine costs beside FFTW's bare transforms of the same length, and how evenly
 * its work falls on blocks of 64 frames. Thread CPU time, the least of many rounds: what other
 * processes take is not counted. */
#include "common/dsp/minimum_phase.h"
#include "common/dsp/spectral_engine.h"
#include "tests/unit/arena_fixture.h"

#include <fftw3.h>
#include <stdio.h>
#include <time.h>

enum { ROUNDS = 300, BLOCK = 32, PAIR = 2 * BLOCK };

typedef struct {
  PlanishSpectralEngine engine;
  PlanishMinimumPhase phase;
  double audio[2][BLOCK];
} Bench;

static double seconds(void)
{
  struct timespec now;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void lay(void *context, uint32_t part)
{
  Bench *const bench = context;
  const uint32_t bins = bench->engine.length / 32;
  for (uint32_t k = part * bins; k < (part + 1) * bins; ++k) {
    planish_spectral_engine_lay(&bench->engine, k, bench->phase.added[k]);
  }
}

/* A block of 64 frames, as the frame hands it over. */
static double block_time(Bench *bench)
{
  double *const audio[2] = {bench->audio[0], bench->audio[1]};
  const double start = seconds();
  planish_spectral_engine_process(&bench->engine, audio, 2, BLOCK);
  planish_spectral_engine_process(&bench->engine, audio, 2, BLOCK);
  return seconds() - start;
}

/* What reading the clock takes, which is no part of a block. */
static double clock_time(void)
{
  double least = 1.0;
  for (int round = 0; round < ROUNDS; ++round) {
    const double start = seconds();
    const double time = seconds() - start;
    least = time < least ? time : least;
  }
  return least;
}

typedef struct {
  double hop;   /* seconds */
  double worst; /* block of 64 over the mean */
} Cost;

static Cost cost_of(Bench *bench, const PlanishSpectralLaw *law)
{
  enum { MOST_BLOCKS = 64 };
  double least[MOST_BLOCKS];
  const uint32_t blocks = bench->engine.hop / PAIR;
  Cost cost = {0.0, 0.0};
  planish_spectral_engine_reset(&bench->engine, law);
  for (uint32_t b = 0; b < blocks; ++b) {
    least[b] = 1.0;
  }
  for (uint32_t round = 0; round < ROUNDS * blocks; ++round) {
    const double time = block_time(bench);
    least[round % blocks] = time < least[round % blocks] ? time : least[round % blocks];
  }
  const double clock = clock_time();
  for (uint32_t b = 0; b < blocks; ++b) {
    least[b] -= clock;
    cost.hop += least[b];
    cost.worst = least[b] > cost.worst ? least[b] : cost.worst;
  }
  cost.worst *= blocks / cost.hop;
  return cost;
}

static double bare_time(uint32_t length)
{
  fftwf_complex *const a = fftwf_alloc_complex(length);
  fftwf_complex *const b = fftwf_alloc_complex(length);
  fftwf_plan plan = fftwf_plan_dft_1d((int)length, a, b, FFTW_FORWARD, FFTW_ESTIMATE);
  double least = 1.0;
  memset(a, 0, length * sizeof *a);
  for (int round = 0; round < ROUNDS; ++round) {
    const double start = seconds();
    fftwf_execute(plan);
    const double time = seconds() - start;
    least = time < least ? time : least;
  }
  fftwf_destroy_plan(plan);
  fftwf_free(a);
  fftwf_free(b);
  return least - clock_time();
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
    const Cost plain = cost_of(&bench, &(PlanishSpectralLaw){NULL, &bench, tasks, 0});
    const Cost all = cost_of(&bench, &(PlanishSpectralLaw){NULL, &bench, tasks, count});
    printf("%5u   %.2f, %.2f; %.2f, %.2f\n", length, plain.hop / (2.0 * bare), plain.worst,
           all.hop / (2.0 * bare + 2.0 * half), all.worst);
    planish_spectral_engine_release(&bench.engine);
    planish_minimum_phase_release(&bench.phase);
    free(arena.block);
  }
  return 0;
}
