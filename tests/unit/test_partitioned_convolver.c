/* Partitioned convolution against the sum that it stands for, in double precision. */
#include "tests/unit/cmocka_headers.h"

#include "common/dsp/partitioned_convolver.h"
#include "tests/unit/arena_fixture.h"

#include <math.h>
#include <stdio.h>

typedef struct {
  PlanishConvolver convolver;
  void *block;
} Fixture;

static void fixture_new(Fixture *f, uint32_t block, uint32_t partitions)
{
  memset(f, 0, sizeof *f);
  PlanishArena counting = planish_arena_counting();
  assert_int_equal(planish_convolver_setup(&f->convolver, &counting, block, partitions),
                   PLANISH_OK);
  PlanishArena arena = arena_for(counting);
  f->block = arena.block;
  assert_int_equal(planish_convolver_setup(&f->convolver, &arena, block, partitions), PLANISH_OK);
  assert_int_equal(arena.used, counting.used);
  planish_convolver_reset(&f->convolver);
}

static void fixture_free(Fixture *f)
{
  planish_convolver_release(&f->convolver);
  planish_convolver_release(&f->convolver);
  free(f->block);
}

static void load(Fixture *f)
{
  PlanishTask tasks[PLANISH_CONVOLVER_LOAD_TASKS];
  const uint32_t count = planish_convolver_load_tasks(&f->convolver, tasks);
  assert_true(planish_convolver_is_free(&f->convolver));
  for (uint32_t t = 0; t < count; ++t) {
    for (uint32_t i = 0; i < tasks[t].count; ++i) {
      tasks[t].step(tasks[t].context, i);
    }
  }
  planish_convolver_exchange(&f->convolver);
  assert_false(planish_convolver_is_free(&f->convolver));
}

static double next(uint32_t *seed)
{
  *seed = *seed * 1664525U + 1013904223U;
  return (double)(int32_t)*seed / 4294967296.0;
}

static void run(Fixture *f, double *left, double *right, uint32_t frames, uint32_t most)
{
  uint32_t seed = 9;
  for (uint32_t at = 0; at < frames;) {
    uint32_t block = 1 + (uint32_t)((next(&seed) + 0.5) * most) % most;
    block = block > frames - at ? frames - at : block;
    double *const audio[2] = {left + at, right + at};
    planish_convolver_process(&f->convolver, audio, 2, block);
    at += block;
  }
}

enum { FRAMES = 12000 };

static double input[2][FRAMES];
static double output[2][FRAMES];

static void make_input(void)
{
  uint32_t seed = 3;
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < FRAMES; ++n) {
      input[c][n] = (double)(float)next(&seed);
      output[c][n] = input[c][n];
    }
  }
}

static void make_taps(Fixture *f, uint32_t taps, uint32_t seed)
{
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < taps; ++n) {
      f->convolver.taps[c][n] = (float)(next(&seed) * exp(-3.0 * n / taps));
    }
  }
}

static double convolved(const float *taps, uint32_t count, int channel, uint32_t n)
{
  double sum = 0.0;
  for (uint32_t i = 0; i < count && i <= n; ++i) {
    sum += (double)taps[i] * input[channel][n - i];
  }
  return sum;
}

/* dB of the error re the output, both channels. */
static double off_by(const Fixture *f, uint32_t taps)
{
  const uint32_t latency = planish_convolver_latency(&f->convolver);
  double error = 0.0;
  double power = 0.0;
  for (int c = 0; c < 2; ++c) {
    /* The first block of what comes out fades in. */
    for (uint32_t n = f->convolver.block; n + latency < FRAMES; n += 7) {
      const double truth = convolved(f->convolver.taps[c], taps, c, n);
      const double e = output[c][n + latency] - truth;
      error += e * e;
      power += truth * truth;
    }
  }
  return 10.0 * log10(error / power);
}

static void it_is_the_sum_that_it_stands_for(void **state)
{
  (void)state;
  static const struct {
    uint32_t block;
    uint32_t partitions;
  } cases[] = {{128, 1}, {128, 9}, {256, 5}, {1024, 3}, {512, 16}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    Fixture f;
    const uint32_t taps = cases[i].block * cases[i].partitions;
    fixture_new(&f, cases[i].block, cases[i].partitions);
    make_input();
    make_taps(&f, taps, 5);
    load(&f);
    run(&f, output[0], output[1], FRAMES, 32);
    const double off = off_by(&f, taps);
    printf("block %4u, %5u taps, another filter a channel: off by %.1f dB\n", cases[i].block, taps,
           off);
    assert_true(off <= -130.0);
    fixture_free(&f);
  }
}

/* From one filter to another the result goes by (1 - cos) / 2 over one block, without a jump. */
static void filters_fade_into_one_another(void **state)
{
  (void)state;
  enum { BLOCK = 256, PARTITIONS = 4, TAPS = BLOCK * PARTITIONS, CHANGE = 20 * BLOCK };
  static float first[2][TAPS];
  Fixture f;
  fixture_new(&f, BLOCK, PARTITIONS);
  make_input();
  make_taps(&f, TAPS, 5);
  for (int c = 0; c < 2; ++c) {
    memcpy(first[c], f.convolver.taps[c], sizeof first[c]);
  }
  load(&f);
  run(&f, output[0], output[1], CHANGE, 32);
  make_taps(&f, TAPS, 77);
  load(&f);
  run(&f, output[0] + CHANGE, output[1] + CHANGE, FRAMES - CHANGE, 32);
  const uint32_t latency = planish_convolver_latency(&f.convolver);
  double error = 0.0;
  double power = 0.0;
  for (int c = 0; c < 2; ++c) {
    /* The block that is worked on from CHANGE on came in one block before. */
    for (uint32_t n = CHANGE - 2 * BLOCK; n < CHANGE + BLOCK; n += 5) {
      const double at = (double)n - (CHANGE - BLOCK);
      const double clamped = fmin(fmax(at / BLOCK, 0.0), 1.0);
      const double weight = 0.5 - 0.5 * cos(3.14159265358979323846 * clamped);
      const double old = convolved(first[c], TAPS, c, n);
      const double now = convolved(f.convolver.taps[c], TAPS, c, n);
      const double truth = old + weight * (now - old);
      const double e = output[c][n + latency] - truth;
      error += e * e;
      power += truth * truth;
    }
  }
  const double off = 10.0 * log10(error / power);
  printf("across an exchange of filters: off by %.1f dB\n", off);
  assert_true(off <= -125.0);
  assert_true(planish_convolver_is_free(&f.convolver));
  fixture_free(&f);
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  static const uint32_t most[] = {32, 1, 17};
  static double first[FRAMES];
  for (size_t i = 0; i < 3; ++i) {
    Fixture f;
    fixture_new(&f, 512, 4);
    make_input();
    make_taps(&f, 2048, 5);
    load(&f);
    run(&f, output[0], output[1], FRAMES, most[i]);
    if (i == 0) {
      memcpy(first, output[0], sizeof first);
    }
    assert_memory_equal(first, output[0], sizeof first);
    fixture_free(&f);
  }
}

/* After a reset neither sound nor filters of the former life are left; one channel alone comes out
 * as beside a silent one. */
static void a_second_life_is_like_the_first(void **state)
{
  (void)state;
  enum { BLOCK = 256, PARTITIONS = 5, LIFE = 4000 };
  static double first[FRAMES];
  Fixture f;
  fixture_new(&f, BLOCK, PARTITIONS);
  make_taps(&f, BLOCK * PARTITIONS, 5);
  for (int life = 0; life < 3; ++life) {
    make_input();
    run(&f, output[0], output[1], LIFE, 32);
    for (uint32_t n = 0; n < LIFE; ++n) {
      assert_true(output[0][n] == 0.0 && output[1][n] == 0.0);
    }
    make_input();
    memset(output[1], 0, sizeof output[1]);
    load(&f);
    for (uint32_t at = 0; life == 2 && at < FRAMES; at += 32) {
      double *const audio[2] = {output[0] + at, NULL};
      planish_convolver_process(&f.convolver, audio, 1, 32);
    }
    if (life < 2) {
      run(&f, output[0], output[1], FRAMES, 32);
    }
    if (life == 0) {
      memcpy(first, output[0], sizeof first);
    }
    assert_memory_equal(first, output[0], sizeof first);
    planish_convolver_reset(&f.convolver);
  }
  fixture_free(&f);
}

/* An impulse through a linear-phase filter comes out symmetric: goal -140 dB re its middle. */
static void linear_phase_stays_symmetric(void **state)
{
  (void)state;
  enum { BLOCK = 1024, PARTITIONS = 8, TAPS = BLOCK * PARTITIONS, MIDDLE = TAPS / 2 };
  Fixture f;
  fixture_new(&f, BLOCK, PARTITIONS);
  memset(input, 0, sizeof input);
  memset(output, 0, sizeof output);
  for (int c = 0; c < 2; ++c) {
    f.convolver.taps[c][MIDDLE] = 1.0F;
    for (uint32_t n = 1; n < MIDDLE; ++n) {
      const double tap = 0.01 * exp(-0.002 * n) * cos(0.05 * n);
      f.convolver.taps[c][MIDDLE - n] = (float)tap;
      f.convolver.taps[c][MIDDLE + n] = (float)tap;
    }
  }
  load(&f);
  const uint32_t at = 1500;
  output[0][at] = 1.0;
  run(&f, output[0], output[1], FRAMES, 32);
  const uint32_t middle = at + MIDDLE + planish_convolver_latency(&f.convolver);
  double worst = 0.0;
  for (uint32_t n = 1; n < MIDDLE && middle + n < FRAMES; ++n) {
    worst = fmax(worst, fabs(output[0][middle + n] - output[0][middle - n]));
  }
  printf("impulse symmetric to %.1f dB; middle %.7f\n", 20.0 * log10(worst), output[0][middle]);
  assert_true(fabs(output[0][middle] - 1.0) <= 1e-6);
  assert_true(20.0 * log10(worst) <= -140.0);
  fixture_free(&f);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(it_is_the_sum_that_it_stands_for),
      cmocka_unit_test(filters_fade_into_one_another),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(a_second_life_is_like_the_first),
      cmocka_unit_test(linear_phase_stays_symmetric),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
