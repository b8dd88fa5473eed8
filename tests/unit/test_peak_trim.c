/* The trim on its own: where its gain lies in time, and that it leaves alone what needs nothing. */
#include "common/dsp/peak_trim.h"

#include "common/dsp/maths.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>
#include <stdlib.h>

#define RATE 48000.0

enum { FRAMES = 64 * PLANISH_GRID, PULSE = 1000 };

static void run(double *left, double *right)
{
  PlanishPeakTrim trim;
  PlanishArena arena = planish_arena_counting();
  planish_peak_trim_setup(&trim, &arena, RATE, 0);
  arena = arena_for(arena);
  void *block = arena.block;
  planish_peak_trim_setup(&trim, &arena, RATE, 0);
  planish_peak_trim_reset(&trim);
  double ceilings[PLANISH_GRID];
  const double warnings[PLANISH_GRID] = {0.0};
  for (int i = 0; i < PLANISH_GRID; ++i) {
    ceilings[i] = 0.5;
  }
  for (size_t at = 0; at < FRAMES; at += PLANISH_GRID) {
    double *const audio[2] = {left + at, right + at};
    planish_peak_trim_process(&trim, audio, ceilings, warnings, 2, PLANISH_GRID);
  }
  free(block);
}

/* A smooth pulse on the left, far below the top of the band; a small constant on the right, off
 * which the gain is read. */
static void fill(double *left, double *right, double peak)
{
  for (int n = 0; n < FRAMES; ++n) {
    const int from = abs(n - PULSE);
    left[n] = from < 40 ? peak * pow(cos(PLANISH_PI * from / 80.0), 4.0) : 0.0;
    right[n] = 1e-3;
  }
}

/* The pulse is symmetric, and so is the gain, about the frame at which the pulse comes out; there
 * it takes off what the pulse has over the ceiling, and little more. */
static void the_gain_lies_on_its_peak(void **state)
{
  (void)state;
  double left[FRAMES];
  double right[FRAMES];
  fill(left, right, 0.55);
  run(left, right);
  const uint32_t middle = PULSE + planish_peak_trim_latency(RATE);
  double crooked = 0.0;
  for (uint32_t k = 1; k < 60; ++k) {
    crooked = fmax(crooked, fabs(right[middle - k] - right[middle + k]) / 1e-3);
  }
  const double over = planish_level_of(left[middle] / 0.5);
  printf("the pulse leaves %+.4f dB over the ceiling; the gain is crooked by %.2g\n", over,
         crooked);
  assert_true(over <= 0.001 && over >= -0.1);
  assert_true(crooked <= 1e-6);
  assert_true(right[middle] < 0.00092 && right[middle - 60] == 1e-3);
}

static void what_needs_nothing_keeps_its_bits(void **state)
{
  (void)state;
  double left[FRAMES];
  double right[FRAMES];
  double source[FRAMES];
  fill(left, right, 0.49);
  fill(source, right, 0.49);
  run(left, right);
  const uint32_t latency = planish_peak_trim_latency(RATE);
  assert_memory_equal(left + latency, source, (FRAMES - latency) * sizeof(double));
}

enum { LONG = 1600 * PLANISH_GRID };

/* Quiet noise, with bursts near and over the ceiling after rests of many lengths; some with loud
 * tops, some with warnings. */
static void fill_bursts(double *audio[2], double *warnings)
{
  uint32_t seed = 21;
  int until = 0;
  int burst = 0;
  for (int n = 0; n < LONG; ++n) {
    seed = seed * 1664525u + 1013904223u;
    const double noise = (double)(int32_t)seed / 2147483648.0;
    if (n == until) {
      burst = (burst + 1) % 14;
      until = n + (burst % 2 == 0 ? 40 + 23 * burst : 400 + (int)(seed >> 20));
    }
    const double size = burst % 2 == 1 ? 0.02 : (burst % 4 == 0 ? 0.62 : 0.3);
    audio[0][n] = size * (burst % 3 == 0 ? noise : sin(0.06 * n));
    audio[1][n] = 0.5 * size * sin(0.05 * n) + 0.02 * noise;
    /* A warning holds for half a second. */
    warnings[n] = burst == 4 && n < LONG / 8 ? 1.0 : 0.0;
  }
}

/* Returns how many frames it rested. `most`: as the trim has it if 0. */
static int trim_in_blocks(double *audio[2], const double *warnings, double *taken, int block,
                          double most)
{
  PlanishPeakTrim trim;
  PlanishArena arena = planish_arena_counting();
  planish_peak_trim_setup(&trim, &arena, RATE, 60);
  arena = arena_for(arena);
  void *memory = arena.block;
  planish_peak_trim_setup(&trim, &arena, RATE, 60);
  planish_peak_trim_reset(&trim);
  trim.most = most > 0.0 ? most : trim.most;
  int rested = 0;
  double ceilings[PLANISH_GRID];
  for (int i = 0; i < PLANISH_GRID; ++i) {
    ceilings[i] = 0.5;
  }
  for (int n = 0; n < LONG; n += block) {
    const int count = LONG - n < block ? LONG - n : block;
    double *const now[2] = {audio[0] + n, audio[1] + n};
    taken[n / block] =
        planish_peak_trim_process(&trim, now, ceilings, warnings + n, 2, (uint32_t)count);
    rested += trim.resting ? count : 0;
  }
  free(memory);
  return rested;
}

/* One that never rests is the reference. */
static void a_rest_changes_no_bit(void **state)
{
  (void)state;
  const int blocks[] = {PLANISH_GRID, 1, 13, 31};
  double *working[2] = {malloc(LONG * sizeof(double)), malloc(LONG * sizeof(double))};
  double *resting[2] = {malloc(LONG * sizeof(double)), malloc(LONG * sizeof(double))};
  double *warnings = malloc(LONG * sizeof(double));
  double *taken[2] = {malloc(LONG * sizeof(double)), malloc(LONG * sizeof(double))};
  fill_bursts(working, warnings);
  assert_int_equal(trim_in_blocks(working, warnings, taken[0], PLANISH_GRID, 1e9), 0);
  for (size_t i = 0; i < sizeof blocks / sizeof *blocks; ++i) {
    fill_bursts(resting, warnings);
    const int rested = trim_in_blocks(resting, warnings, taken[1], blocks[i], 0.0);
    printf("blocks of %d: at rest for %.0f %% of all frames\n", blocks[i], 100.0 * rested / LONG);
    assert_true(rested > LONG / 8);
    assert_memory_equal(working[0], resting[0], LONG * sizeof(double));
    assert_memory_equal(working[1], resting[1], LONG * sizeof(double));
    if (i == 0) {
      assert_memory_equal(taken[0], taken[1], LONG / PLANISH_GRID * sizeof(double));
    }
  }
  for (int c = 0; c < 2; ++c) {
    free(working[c]);
    free(resting[c]);
    free(taken[c]);
  }
  free(warnings);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_gain_lies_on_its_peak),
      cmocka_unit_test(what_needs_nothing_keeps_its_bits),
      cmocka_unit_test(a_rest_changes_no_bit),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
