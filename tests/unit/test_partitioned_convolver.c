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

enum { MOST_TAPS = 8192 };

/* Of all four filters: [to][from][tap]. */
typedef float Taps[2][2][MOST_TAPS];

static void make_taps(Fixture *f, Taps taps, uint32_t count, uint32_t seed)
{
  for (uint32_t n = 0; n < count; ++n) {
    PlanishConvolverTap tap;
    for (int i = 0; i < 4; ++i) {
      tap.h[i / 2][i % 2] = (float)(next(&seed) * exp(-3.0 * n / count));
      taps[i / 2][i % 2][n] = tap.h[i / 2][i % 2];
    }
    planish_convolver_write(&f->convolver, n, tap);
  }
}

static double convolved(Taps taps, uint32_t count, int channel, uint32_t n)
{
  double sum = 0.0;
  for (uint32_t i = 0; i < count && i <= n; ++i) {
    sum += (double)taps[channel][0][i] * input[0][n - i];
    sum += (double)taps[channel][1][i] * input[1][n - i];
  }
  return sum;
}

/* dB of the error re the output, both channels. */
static double off_by(const Fixture *f, Taps taps, uint32_t count)
{
  const uint32_t latency = planish_convolver_latency(&f->convolver);
  double error = 0.0;
  double power = 0.0;
  for (int c = 0; c < 2; ++c) {
    /* The first block of what comes out fades in. */
    for (uint32_t n = f->convolver.block; n + latency < FRAMES; n += 7) {
      const double truth = convolved(taps, count, c, n);
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
    static Taps taps;
    const uint32_t count = cases[i].block * cases[i].partitions;
    fixture_new(&f, cases[i].block, cases[i].partitions);
    make_input();
    make_taps(&f, taps, count, 5);
    load(&f);
    run(&f, output[0], output[1], FRAMES, 32);
    const double off = off_by(&f, taps, count);
    printf("block %4u, %5u taps, four filters: off by %.1f dB\n", cases[i].block, count, off);
    assert_true(off <= -130.0);
    fixture_free(&f);
  }
}

/* From one filter to another the result goes by (1 - cos) / 2 over one block, without a jump. */
static void filters_fade_into_one_another(void **state)
{
  (void)state;
  enum { BLOCK = 256, PARTITIONS = 4, TAPS = BLOCK * PARTITIONS, CHANGE = 20 * BLOCK };
  static Taps first;
  static Taps second;
  Fixture f;
  fixture_new(&f, BLOCK, PARTITIONS);
  make_input();
  make_taps(&f, first, TAPS, 5);
  load(&f);
  run(&f, output[0], output[1], CHANGE, 32);
  make_taps(&f, second, TAPS, 77);
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
      const double old = convolved(first, TAPS, c, n);
      const double now = convolved(second, TAPS, c, n);
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

/* Largest error of the second channel where `taps` are faded by (1 - cos) / 2, in or out, over the
 * block that came in before frame `change`. */
static double off_in_fade(const Fixture *f, Taps taps, uint32_t count, uint32_t change, bool in)
{
  const uint32_t block = f->convolver.block;
  const uint32_t latency = planish_convolver_latency(&f->convolver);
  double worst = 0.0;
  for (uint32_t n = change - 2 * block; n < change + block; n += 5) {
    const double at = fmin(fmax(((double)n - (change - block)) / block, 0.0), 1.0);
    const double weight = 0.5 - 0.5 * cos(3.14159265358979323846 * at);
    const double truth = (in ? weight : 1.0 - weight) * convolved(taps, count, 1, n);
    worst = fmax(worst, fabs(output[1][n + latency] - truth));
  }
  return worst;
}

/* To filters of zeros and back: zeros exactly between, and the transform of the input alone as
 * their cost. Each set of filters was in use before. */
static void silence_is_exact_and_cheap(void **state)
{
  (void)state;
  enum { BLOCK = 256, PARTITIONS = 4, TAPS = BLOCK * PARTITIONS, PART = 8 * BLOCK };
  static Taps taps;
  Fixture f;
  fixture_new(&f, BLOCK, PARTITIONS);
  make_input();
  for (uint32_t set = 0; set < 2; ++set) {
    make_taps(&f, taps, TAPS, 5 + set);
    load(&f);
    run(&f, output[0] + (size_t)set * PART, output[1] + (size_t)set * PART, PART, 32);
  }
  const uint64_t working = f.convolver.schedule.total;
  planish_convolver_silence(&f.convolver);
  run(&f, output[0] + 2 * PART, output[1] + 2 * PART, PART, 32);
  const uint64_t resting = f.convolver.schedule.total;
  for (uint32_t n = 2 * PART + 2 * BLOCK; n < 3 * PART; ++n) {
    assert_true(output[0][n] == 0.0 && output[1][n] == 0.0);
  }
  printf("cost of a block of zeros / of filters: %.2f\n", (double)resting / (double)working);
  assert_true(2 * resting < working);
  /* What was loaded last is still there. */
  planish_convolver_exchange(&f.convolver);
  run(&f, output[0] + 3 * PART, output[1] + 3 * PART, PART, 32);
  assert_true(off_in_fade(&f, taps, TAPS, 2 * PART, false) <= 1e-5);
  assert_true(off_in_fade(&f, taps, TAPS, 3 * PART, true) <= 1e-5);
  fixture_free(&f);
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  static const uint32_t most[] = {32, 1, 17};
  static double first[FRAMES];
  for (size_t i = 0; i < 3; ++i) {
    Fixture f;
    static Taps taps;
    fixture_new(&f, 512, 4);
    make_input();
    make_taps(&f, taps, 2048, 5);
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
  enum { BLOCK = 256, PARTITIONS = 5 };
  static double first[FRAMES];
  Fixture f;
  static Taps taps;
  fixture_new(&f, BLOCK, PARTITIONS);
  make_taps(&f, taps, BLOCK * PARTITIONS, 5);
  for (int life = 0; life < 3; ++life) {
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
  make_input();
  run(&f, output[0], output[1], FRAMES, 32);
  for (uint32_t n = 0; n < FRAMES; ++n) {
    assert_true(output[0][n] == 0.0 && output[1][n] == 0.0);
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
  planish_convolver_write(&f.convolver, MIDDLE,
                          (PlanishConvolverTap){{{1.0F, 0.0F}, {0.0F, 1.0F}}});
  for (uint32_t n = 1; n < MIDDLE; ++n) {
    const float tap = (float)(0.01 * exp(-0.002 * n) * cos(0.05 * n));
    const PlanishConvolverTap both = {{{tap, 0.0F}, {0.0F, tap}}};
    planish_convolver_write(&f.convolver, MIDDLE - n, both);
    planish_convolver_write(&f.convolver, MIDDLE + n, both);
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
      cmocka_unit_test(silence_is_exact_and_cheap),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(a_second_life_is_like_the_first),
      cmocka_unit_test(linear_phase_stays_symmetric),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
