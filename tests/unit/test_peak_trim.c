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

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_gain_lies_on_its_peak),
      cmocka_unit_test(what_needs_nothing_keeps_its_bits),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
