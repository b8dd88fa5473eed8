/* Points between frames, against the sines that they belong to. */
#include "common/dsp/half_points.h"
#include "common/dsp/maths.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/limiter_signals.h"

#include <stdio.h>

enum { MOST_REACH = 250, LENGTH = 4096, ROOM = PLANISH_HALF_SPARE };

typedef struct {
  PlanishHalfPoints points;
  void *block;
  float audio[2 * MOST_REACH + LENGTH + ROOM]; /* silence, then the signal */
  float halves[LENGTH + ROOM];
} Fixture;

static Fixture *make(uint32_t reach)
{
  Fixture *f = test_calloc(1, sizeof *f);
  PlanishArena arena = planish_arena_counting();
  planish_half_points_setup(&f->points, &arena, reach);
  arena = arena_for(arena);
  f->block = arena.block;
  planish_half_points_setup(&f->points, &arena, reach);
  planish_half_points_reset(&f->points);
  return f;
}

static void release(Fixture *f)
{
  free(f->block);
  test_free(f);
}

/* In blocks of up to `most` frames. */
static void run(Fixture *f, uint32_t most, uint64_t *seed)
{
  for (uint32_t at = 0; at < LENGTH;) {
    const uint32_t wanted = 1 + signal_random(seed) % most;
    const uint32_t frames = wanted < LENGTH - at ? wanted : LENGTH - at;
    planish_half_points_process(&f->points, f->audio + 2 * MOST_REACH + at, f->halves + at, frames);
    at += frames;
  }
}

/* The largest error on a sine of a share of the rate, once it has filled the filters; all phases of
 * the groups come by. */
static double error_at(uint32_t reach, double share)
{
  Fixture *f = make(reach);
  uint64_t seed = 3;
  double largest = 0.0;
  for (int n = 0; n < LENGTH; ++n) {
    f->audio[2 * MOST_REACH + n] = (float)sin(2.0 * PLANISH_PI * share * n + 0.3);
  }
  run(f, PLANISH_GRID, &seed);
  const double delay = planish_half_points_delay(&f->points);
  for (int n = 4 * MOST_REACH; n < LENGTH; ++n) {
    const double ideal = sin(2.0 * PLANISH_PI * share * (n - delay + 0.5) + 0.3);
    largest = fmax(largest, fabs((double)f->halves[n] - ideal));
  }
  release(f);
  return largest;
}

static double error_up_to(uint32_t reach, double from, double to)
{
  enum { TONES = 60 };
  double largest = 0.0;
  for (int i = 0; i <= TONES; ++i) {
    largest = fmax(largest, error_at(reach, from + (to - from) * i / TONES));
  }
  return largest;
}

/* Goals: what half_points.h says of 250 frames; 0.004 (0.035 dB) as far as 122 and 58 go. */
static void tones_are_what_they_are(void **state)
{
  (void)state;
  static const struct {
    uint32_t reach;
    double up_to;
    double goal;
  } cases[] = {{250, 0.485, 0.002}, {250, 0.493, 0.0035}, {122, 0.485, 0.004},
               {122, 0.488, 0.004}, {58, 0.47, 0.004},    {59, 0.47, 0.004}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    const double error = fmax(error_up_to(cases[i].reach, 0.001, 0.45),
                              error_up_to(cases[i].reach, 0.45, cases[i].up_to));
    printf("%3u frames each way, to %.3f of the rate: %.5f (goal %.4f)\n", cases[i].reach,
           cases[i].up_to, error, cases[i].goal);
    assert_true(error <= cases[i].goal);
  }
}

static void known_no_later_than_said(void **state)
{
  (void)state;
  for (uint32_t reach = 4; reach <= MOST_REACH; ++reach) {
    Fixture *f = make(reach);
    const uint32_t delay = planish_half_points_delay(&f->points);
    assert_true(delay <= reach && delay + 16 > reach);
    release(f);
  }
}

/* A reach for every count of weights, and of frames between blocks of eight. */
static void any_reach_reads_tones(void **state)
{
  (void)state;
  for (uint32_t reach = 120; reach <= MOST_REACH; reach += 3) {
    assert_true(error_up_to(reach, 0.05, 0.48) <= 0.004);
  }
}

static void bits_do_not_depend_on_blocks(void **state)
{
  (void)state;
  static const uint32_t reaches[] = {250, 122, 58};
  for (size_t i = 0; i < sizeof reaches / sizeof *reaches; ++i) {
    Fixture *f = make(reaches[i]);
    Fixture *other = make(reaches[i]);
    uint64_t seed = 5;
    for (int n = 0; n < LENGTH; ++n) {
      f->audio[2 * MOST_REACH + n] = (float)signal_uniform(&seed);
    }
    memcpy(other->audio, f->audio, sizeof f->audio);
    run(f, 1, &seed);
    run(other, PLANISH_GRID, &seed);
    assert_memory_equal(f->halves, other->halves, LENGTH * sizeof(float));
    /* And again after a reset. */
    planish_half_points_reset(&other->points);
    run(other, 7, &seed);
    assert_memory_equal(f->halves, other->halves, LENGTH * sizeof(float));
    release(f);
    release(other);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(tones_are_what_they_are),
      cmocka_unit_test(known_no_later_than_said),
      cmocka_unit_test(any_reach_reads_tones),
      cmocka_unit_test(bits_do_not_depend_on_blocks),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
