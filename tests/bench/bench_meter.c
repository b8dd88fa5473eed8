/* How evenly the meter's work falls on blocks of 64 frames over a second, in which all its readings
 * are taken anew, and what a reset adds to one. */
#include "common/frame/stage.h"
#include "tests/bench/hop_cost.h"
#include "tests/unit/arena_fixture.h"
#include "ttl/meter_ports.h"

#include <stdio.h>

enum { BLOCK = PLANISH_GRID, PAIR = 2 * BLOCK, NOISE = 1 << 18 };

typedef struct {
  void *state;
  double noise[2][NOISE];
  float values[METER_PORT_COUNT];
  uint32_t at;
  bool reset; /* in each block */
} Bench;

static void set_reset(Bench *bench, float value)
{
  bench->values[METER_RESET] = value;
  planish_stage.set(bench->state, bench->values);
}

static double block_time(void *context)
{
  Bench *const bench = context;
  double audio[2][PAIR];
  bench->at = (bench->at + PAIR) % NOISE;
  for (int c = 0; c < 2; ++c) {
    memcpy(audio[c], bench->noise[c] + bench->at, sizeof audio[c]);
  }
  if (bench->reset) {
    set_reset(bench, 0.0F);
  }
  const double start = seconds();
  if (bench->reset) {
    set_reset(bench, 1.0F);
  }
  for (int half = 0; half < PAIR; half += BLOCK) {
    const PlanishBlock block = {
        .channels = 2, .frames = BLOCK, .audio = {audio[0] + half, audio[1] + half}};
    planish_stage.process(bench->state, &block);
  }
  planish_stage.report(bench->state, bench->values, PAIR);
  return seconds() - start;
}

static void bench_at(Bench *bench, double rate)
{
  bench->state = calloc(1, planish_stage.state_size);
  PlanishArena arena = planish_arena_counting();
  planish_stage.setup(bench->state, rate, &arena);
  arena = arena_for(arena);
  planish_stage.setup(bench->state, rate, &arena);
  for (uint32_t i = 0; i < METER_PORT_COUNT; ++i) {
    bench->values[i] = meter_port_table[i].initial;
  }
  planish_stage.reset(bench->state);
  planish_stage.set(bench->state, bench->values);
  bench->reset = false;
  const uint32_t blocks = (uint32_t)(rate / PAIR);
  const Cost cost = cost_of_hop(block_time, bench, blocks);
  bench->reset = true;
  const Cost with_reset = cost_of_hop(block_time, bench, 8);
  const double mean = cost.hop / blocks;
  printf("%6.0f Hz: %.2f %% of real time, worst block %.2f times the mean, one with a reset %.2f\n",
         rate, 100.0 * cost.hop, cost.worst, with_reset.worst * with_reset.hop / 8.0 / mean);
  free(arena.block);
  free(bench->state);
}

int main(void)
{
  static Bench bench;
  uint32_t seed = 1;
  for (uint32_t n = 0; n < NOISE; ++n) {
    /* Loud and soft, so that gates have something to do. */
    const double level = n % 60000 < 30000 ? 1.0 : 0.1;
    for (int c = 0; c < 2; ++c) {
      seed = seed * 1664525U + 1013904223U;
      bench.noise[c][n] = level * (double)(int32_t)seed / 4294967296.0;
    }
  }
  bench_at(&bench, 48000.0);
  bench_at(&bench, 96000.0);
  return 0;
}
