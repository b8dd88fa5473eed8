#include "common/dsp/gain_path.h"
#include "common/dsp/glide.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/limiter_signals.h"

enum { FRAMES = 48000, MAX_LOOKAHEAD = 240, MAX_HOLD = 1440 };

typedef struct {
  PlanishGainPath path;
  void *block;
} Fixture;

static Fixture make(void)
{
  Fixture fixture;
  PlanishArena arena = planish_arena_counting();
  planish_gain_path_setup(&fixture.path, &arena, MAX_LOOKAHEAD, MAX_HOLD);
  arena = arena_for(arena);
  fixture.block = arena.block;
  planish_gain_path_setup(&fixture.path, &arena, MAX_LOOKAHEAD, MAX_HOLD);
  return fixture;
}

static void run(PlanishGainPath *path, double *need, double *reduction, double *lift,
                double *lifted, double share)
{
  double shares[PLANISH_GRID];
  for (uint32_t i = 0; i < PLANISH_GRID; ++i) {
    shares[i] = share;
  }
  for (uint32_t at = 0; at < FRAMES; at += PLANISH_GRID) {
    const PlanishGainPathBlock block = {.times = planish_slow_fast_times(20.0, 48000.0),
                                        .slow_share = shares,
                                        .channels = 1,
                                        .frames = PLANISH_GRID,
                                        .lifting = true};
    double *const needs[2] = {need + at, NULL};
    double *const reductions[2] = {reduction + at, NULL};
    path->hold_target = at / 4800 % 2 ? 0 : MAX_HOLD;
    planish_gain_path_process(path, &block, needs, lift + at, reductions, lifted + at);
  }
}

/* The proof of the ceiling: at the time that a frame leaves, its need is met, and its lift is at
 * most what it may be. A delay that is wrong by one frame fails. */
static void meets_every_need(void **state)
{
  (void)state;
  static double need[FRAMES];
  static double lift[FRAMES];
  static double reduction[FRAMES];
  static double lifted[FRAMES];
  static const uint32_t lookaheads[] = {1, 2, 48, 96, MAX_LOOKAHEAD};
  Fixture f = make();
  uint64_t seed = 4;
  for (size_t n = 0; n < FRAMES; ++n) {
    need[n] = signal_random(&seed) % 300 == 0 ? 12.0 + 12.0 * signal_uniform(&seed) : 0.0;
    lift[n] = n / 700 % 2 ? 6.0 : (double)(signal_random(&seed) % 7);
  }
  for (size_t l = 0; l < sizeof lookaheads / sizeof *lookaheads; ++l) {
    const uint32_t delay = lookaheads[l] - 1;
    int too_early = 0;
    planish_gain_path_reset(&f.path, lookaheads[l], MAX_HOLD);
    run(&f.path, need, reduction, lift, lifted, l % 2 ? 1.0 : 0.3);
    for (size_t n = (size_t)2 * MAX_LOOKAHEAD; n < FRAMES; ++n) {
      assert_true(reduction[n] >= need[n - delay] - 1e-13);
      assert_true(lifted[n] <= lift[n - delay] + 1e-13);
      too_early += reduction[n - 1] < need[n - delay] - 1e-7;
    }
    assert_true(too_early > 0);
  }
  free(f.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(meets_every_need),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
