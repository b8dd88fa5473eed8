#include "common/dsp/glide.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>

enum { RATE = 48000, LENGTH = 960 };

typedef struct {
  PlanishGlide glide;
  void *block;
} Fixture;

static Fixture make(double rate, double ms)
{
  Fixture fixture;
  PlanishArena arena = planish_arena_counting();
  planish_glide_setup(&fixture.glide, &arena, rate, ms);
  arena = arena_for(arena);
  fixture.block = arena.block;
  planish_glide_setup(&fixture.glide, &arena, rate, ms);
  return fixture;
}

/* Two moving means of length T in a row turn a unit step into this. */
static double two_means(double t)
{
  return t <= 0.0   ? 0.0
         : t <= 1.0 ? 0.5 * t * t
         : t <= 2.0 ? 1.0 - 0.5 * (2.0 - t) * (2.0 - t)
                    : 1.0;
}

static void step_follows_the_closed_form(void **state)
{
  (void)state;
  static const double rates[] = {8000, 44100, 48000, 192000};
  for (size_t r = 0; r < sizeof rates / sizeof *rates; ++r) {
    Fixture f = make(rates[r], 20.0);
    planish_glide_jump(&f.glide, -3.0);
    planish_glide_set(&f.glide, 5.0);
    const double half = f.glide.half * (double)PLANISH_GRID;
    assert_true(fabs(half - rates[r] * 0.01) <= PLANISH_GRID);
    for (int n = 0; n < 2 * (int)half + 100; ++n) {
      const double expected = -3.0 + 8.0 * two_means(n / half);
      assert_true(fabs(planish_glide_next(&f.glide) - expected) < 1e-11);
    }
    assert_false(planish_glide_is_moving(&f.glide));
    assert_true(planish_glide_next(&f.glide) == 5.0);
    free(f.block);
  }
}

static void automation_is_followed_half_a_glide_late(void **state)
{
  (void)state;
  Fixture f = make(RATE, 20.0);
  planish_glide_jump(&f.glide, 0.0);
  double value = 0.0;
  for (int n = 0; n < 20 * LENGTH; ++n) {
    if (n % PLANISH_GRID == 0) {
      planish_glide_set(&f.glide, n + PLANISH_GRID);
    }
    value = planish_glide_next(&f.glide);
  }
  /* The staircase leads the ramp by half a step on average. */
  const double expected = 20 * LENGTH - 1 - LENGTH / 2.0 + PLANISH_GRID / 2.0;
  assert_true(fabs(value - expected) < 1e-6);
  free(f.block);
}

static void a_new_target_on_the_way_makes_no_jump(void **state)
{
  (void)state;
  Fixture f = make(RATE, 20.0);
  planish_glide_jump(&f.glide, 0.0);
  double last = 0.0;
  double last_slope = 0.0;
  double steepest_bend = 0.0;
  for (int n = 0; n < 4 * LENGTH; ++n) {
    if (n % PLANISH_GRID == 0 && n < 2 * LENGTH) {
      planish_glide_set(&f.glide, (n / PLANISH_GRID) % 7 < 3 ? 1.0 : -1.0);
    }
    const double value = planish_glide_next(&f.glide);
    steepest_bend = fmax(steepest_bend, fabs((value - last) - last_slope));
    last_slope = value - last;
    last = value;
  }
  /* The slope changes by at most 2 * (largest step) / T^2 a frame. */
  assert_true(steepest_bend <= 4.0 / (480.0 * 480.0) + 1e-12);
  free(f.block);
}

static void skipping_is_many_steps(void **state)
{
  (void)state;
  Fixture a = make(RATE, 20.0);
  Fixture b = make(RATE, 20.0);
  planish_glide_jump(&a.glide, -3.0);
  planish_glide_jump(&b.glide, -3.0);
  planish_glide_set(&a.glide, 5.0);
  planish_glide_set(&b.glide, 5.0);
  for (int n = 0; n < 2 * LENGTH; n += 8) {
    for (int i = 0; i < 8; ++i) {
      planish_glide_next(&a.glide);
    }
    assert_true(fabs(planish_glide_skip(&b.glide, 8) - a.glide.value) < 1e-12);
  }
  assert_true(b.glide.value == 5.0);
  free(a.block);
  free(b.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(step_follows_the_closed_form),
      cmocka_unit_test(automation_is_followed_half_a_glide_late),
      cmocka_unit_test(skipping_is_many_steps),
      cmocka_unit_test(a_new_target_on_the_way_makes_no_jump),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
