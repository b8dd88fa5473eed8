#include "common/dsp/maths.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>

/* Swept against libm's long double functions; the largest error is printed. */

static void exp2_is_accurate(void **state)
{
  (void)state;
  double worst = 0.0;
  for (double x = -60.0; x <= 60.0; x += 0.000731) {
    const long double expected = exp2l((long double)x);
    worst = fmax(worst, fabs((double)((planish_exp2(x) - expected) / expected)));
  }
  printf("exp2: largest relative error %.2g\n", worst);
  assert_true(worst <= 4e-16);
  assert_true(planish_exp2(0.0) == 1.0);
  assert_true(planish_exp2(10.0) == 1024.0);
  assert_true(planish_exp2(-1e9) > 0.0);
  assert_true(planish_exp2(1e9) < HUGE_VAL);
}

static void log2_is_accurate(void **state)
{
  (void)state;
  double worst = 0.0;
  for (double e = -50.0; e <= 50.0; e += 0.000917) {
    const double x = exp2(e);
    const long double expected = log2l((long double)x);
    const double error = fabs((double)(planish_log2(x) - expected));
    worst = fmax(worst, error / fmax(1.0, fabs(e)));
  }
  printf("log2: largest error %.2g\n", worst);
  assert_true(worst <= 2e-15);
  assert_true(planish_log2(1.0) == 0.0);
  assert_true(planish_log2(0.125) == -3.0);
}

static void scales_are_those_of_the_header(void **state)
{
  (void)state;
  assert_true(planish_gain_of(0.0) == 1.0);
  assert_true(fabs(planish_gain_of(-6.0) - 0.501187233627272) < 1e-14);
  assert_true(fabs(planish_level_of(0.5) + 6.02059991327962) < 1e-13);
  assert_true(fabs(planish_level_of_power(0.5) + 3.01029995663981) < 1e-13);
  assert_true(planish_level_of(0.0) == PLANISH_SILENCE_DB);
  assert_int_equal(planish_frames_of(12.5, 44100), 551);
  assert_true(planish_smoothstep(0.5) == 0.5);
  assert_true(planish_smoothstep(-1.0) == 0.0 && planish_smoothstep(2.0) == 1.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(exp2_is_accurate),
      cmocka_unit_test(log2_is_accurate),
      cmocka_unit_test(scales_are_those_of_the_header),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
