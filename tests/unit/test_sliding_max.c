#include "common/dsp/sliding_max.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/limiter_signals.h"

enum { FRAMES = 20000, LONGEST = 241 };

typedef struct {
  PlanishSlidingMax max;
  void *block;
} Fixture;

static Fixture make(uint32_t longest)
{
  Fixture fixture;
  PlanishArena arena = planish_arena_counting();
  planish_sliding_max_setup(&fixture.max, &arena, longest);
  arena = arena_for(arena);
  fixture.block = arena.block;
  planish_sliding_max_setup(&fixture.max, &arena, longest);
  return fixture;
}

static double brute(const double *x, size_t at, size_t length)
{
  double largest = x[at];
  for (size_t i = 1; i < length && i <= at; ++i) {
    largest = fmax(largest, x[at - i]);
  }
  return largest;
}

/* Noise, long rises and falls, and values that are often equal. */
static void fill(double *x, int shape)
{
  uint64_t seed = 5;
  for (size_t n = 0; n < FRAMES; ++n) {
    switch (shape) {
    case 0:
      x[n] = signal_uniform(&seed);
      break;
    case 1:
      x[n] = n % 300 == 299 ? 1.0 : -(double)(n % 300);
      break;
    case 2:
      x[n] = (double)(signal_random(&seed) % 3);
      break;
    default:
      x[n] = -(double)n;
    }
  }
}

static void equals_the_brute_maximum(void **state)
{
  (void)state;
  static double x[FRAMES];
  static const uint32_t lengths[] = {1, 2, 3, 64, 240, LONGEST};
  Fixture f = make(LONGEST);
  for (int shape = 0; shape < 4; ++shape) {
    fill(x, shape);
    for (size_t l = 0; l < sizeof lengths / sizeof *lengths; ++l) {
      planish_sliding_max_reset(&f.max);
      for (size_t n = 0; n < FRAMES; ++n) {
        const double found = planish_sliding_max_next(&f.max, x[n], lengths[l]);
        assert_true(found == brute(x, n, lengths[l]));
      }
    }
  }
  free(f.block);
}

static void the_length_may_change_at_any_frame(void **state)
{
  (void)state;
  static double x[FRAMES];
  Fixture f = make(LONGEST);
  uint64_t seed = 6;
  for (int shape = 0; shape < 4; ++shape) {
    fill(x, shape);
    uint32_t length = 1;
    planish_sliding_max_reset(&f.max);
    for (size_t n = 0; n < FRAMES; ++n) {
      if (signal_random(&seed) % 8 == 0) {
        length = 1 + signal_random(&seed) % LONGEST;
      }
      assert_true(planish_sliding_max_next(&f.max, x[n], length) == brute(x, n, length));
    }
  }
  free(f.block);
}

/* Frame counts are 32 bits wide and wrap after a day at 48 kHz. */
static void counts_may_wrap(void **state)
{
  (void)state;
  static double x[FRAMES];
  Fixture f = make(LONGEST);
  fill(x, 0);
  f.max.now = UINT32_MAX - 1000;
  for (size_t n = 0; n < FRAMES; ++n) {
    assert_true(planish_sliding_max_next(&f.max, x[n], LONGEST) == brute(x, n, LONGEST));
  }
  free(f.block);
}

/* Whatever the longest window is, and so the length of a part. */
static void any_longest_window_will_do(void **state)
{
  (void)state;
  static double x[FRAMES];
  fill(x, 0);
  for (uint32_t longest = 1; longest < 5000; longest = longest * 5 / 4 + 1) {
    Fixture f = make(longest);
    for (size_t n = 0; n < 4 * (size_t)longest && n < FRAMES; ++n) {
      const uint32_t length = n % 3 == 0 ? longest : 1 + (uint32_t)n % longest;
      assert_true(planish_sliding_max_next(&f.max, x[n], length) == brute(x, n, length));
    }
    free(f.block);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(equals_the_brute_maximum),
      cmocka_unit_test(the_length_may_change_at_any_frame),
      cmocka_unit_test(counts_may_wrap),
      cmocka_unit_test(any_longest_window_will_do),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
