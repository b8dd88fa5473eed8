#include "common/dsp/box_window.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>

typedef struct {
  PlanishBoxWindow window;
  void *block;
} Fixture;

static Fixture make(uint32_t longest)
{
  Fixture fixture;
  PlanishArena arena = planish_arena_counting();
  planish_box_window_setup(&fixture.window, &arena, longest);
  arena = arena_for(arena);
  fixture.block = arena.block;
  planish_box_window_setup(&fixture.window, &arena, longest);
  return fixture;
}

/* A limiter's proof needs weights > 0 over exactly N frames, with sum 1. */
static void has_n_positive_weights_with_sum_one(void **state)
{
  (void)state;
  static const uint32_t lengths[] = {1, 2, 3, 5, 44, 96, 240, PLANISH_BOX_WINDOW_MAX};
  Fixture f = make(PLANISH_BOX_WINDOW_MAX);
  for (size_t l = 0; l < sizeof lengths / sizeof *lengths; ++l) {
    const uint32_t length = lengths[l];
    double sum = 0.0;
    planish_box_window_reset(&f.window, length);
    for (uint32_t n = 0; n < length + 50; ++n) {
      double value = n == 0 ? 128.0 : 0.0;
      planish_box_window_process(&f.window, &value, 1);
      assert_true(n < length ? value > 0.0 : value == 0.0);
      sum += value / 128.0;
    }
    assert_true(fabs(sum - 1.0) < 1e-12);
  }
  free(f.block);
}

/* Running sums in floating point fail this: a large value leaves a trace behind. */
static void forgets_without_a_trace(void **state)
{
  (void)state;
  Fixture f = make(240);
  planish_box_window_reset(&f.window, 240);
  for (int n = 0; n < 1000000; ++n) {
    double value = n < 999000 ? 100.0 / (1 + n % 977) : 0.0;
    planish_box_window_process(&f.window, &value, 1);
    assert_true(n < 999240 || value == 0.0);
  }
  free(f.block);
}

/* Rounded up, so that a constant is kept to the last step, and never undercut. */
static void keeps_constants(void **state)
{
  (void)state;
  static const double constants[] = {1e-7, 0.1, 1.0 / 3.0, 2.7182818, 200.0};
  Fixture f = make(240);
  for (size_t c = 0; c < sizeof constants / sizeof *constants; ++c) {
    double values[300];
    planish_box_window_reset(&f.window, 240);
    for (size_t n = 0; n < 300; ++n) {
      values[n] = constants[c];
    }
    planish_box_window_process(&f.window, values, 300);
    assert_true(values[299] >= constants[c] * (1.0 - 4e-16));
    assert_true(values[299] <= constants[c] * (1.0 + 4e-16) + 1e-10);
  }
  free(f.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(has_n_positive_weights_with_sum_one),
      cmocka_unit_test(forgets_without_a_trace),
      cmocka_unit_test(keeps_constants),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
