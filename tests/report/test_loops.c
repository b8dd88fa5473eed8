/* The stretches that are offered as loops, and the hardest moments, where they were planted. */
#include "harness/report/loops.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>

enum { COUNT = 2000, LENGTH = 150 };

static void fill(float *powers, size_t from, size_t to, double lufs)
{
  for (size_t n = from; n < to; ++n) {
    powers[n] = (float)pow(10.0, lufs / 10.0);
  }
}

static void planted_stretches_are_found(void **state)
{
  (void)state;
  static float powers[COUNT];
  PlanishSpan loops[PLANISH_LOOP_KINDS];
  fill(powers, 0, COUNT, -20.0);
  fill(powers, 0, 40, -90.0); /* silence ahead: no quiet part, no rise */
  fill(powers, 300, 300 + LENGTH, -32.0);
  fill(powers, 700, 775, -30.0); /* then up by 18 dB: the largest rise */
  fill(powers, 775, 1200, -12.0);
  fill(powers, 900, 900 + LENGTH, -9.0);
  fill(powers, 1900, COUNT, -80.0); /* a tail that is no quiet part */
  planish_loops_find(powers, COUNT, LENGTH, loops);
  assert_int_equal(loops[PLANISH_LOOP_LOUDEST].start, 900);
  assert_int_equal(loops[PLANISH_LOOP_QUIETEST].start, 300);
  assert_int_equal(loops[PLANISH_LOOP_RISE].start, 700);
  assert_int_equal(loops[PLANISH_LOOP_ENDING].start, COUNT - LENGTH);
  for (int kind = 0; kind < PLANISH_LOOP_KINDS; ++kind) {
    assert_int_equal(loops[kind].count, LENGTH);
    assert_true(planish_loop_name((PlanishLoopKind)kind)[0] != '\0');
  }
}

static void what_is_short_is_one_loop(void **state)
{
  (void)state;
  static float powers[7];
  PlanishSpan loops[PLANISH_LOOP_KINDS];
  fill(powers, 0, 7, -20.0);
  planish_loops_find(powers, 7, LENGTH, loops);
  for (int kind = 0; kind < PLANISH_LOOP_KINDS; ++kind) {
    assert_int_equal(loops[kind].start, 0);
    assert_int_equal(loops[kind].count, 7);
  }
}

static void the_hardest_moments_come_first_and_apart(void **state)
{
  (void)state;
  static float first[1000];
  static float second[500];
  first[100] = -1.0f; /* at 5.025 s, with -2.5 of the second there */
  second[50] = -2.5f;
  first[110] = -3.0f; /* under 2 s from the harder one */
  first[600] = -2.0f; /* at 30.025 s */
  first[700] = +6.0f; /* takes nothing off */
  first[800] = -0.05f;
  const PlanishReportGains gains[] = {{"one", "reduction", first, 1000, 0.05, false},
                                      {"two", "reduction", second, 500, 0.1, false}};
  PlanishMoment moments[PLANISH_REPORT_MOMENTS];
  assert_int_equal(planish_moments_find(gains, 2, moments), 2);
  assert_true(fabs(moments[0].at - 5.025) < 1e-9);
  assert_true(fabs(moments[0].gain + 3.5) < 1e-6);
  assert_int_equal(moments[0].hardest, 1);
  assert_true(fabs(moments[0].its_gain + 2.5) < 1e-6);
  assert_true(fabs(moments[1].at - 30.025) < 1e-9);
  assert_int_equal(planish_moments_find(gains, 0, moments), 0);
}

/* A shaper that lifts by 6 dB in a branch of which a trace is added makes nothing easier for the
 * limiter on the main path. */
static void a_branch_is_no_part_of_the_sum(void **state)
{
  (void)state;
  static float limiter[400];
  static float shaper[400];
  for (size_t n = 0; n < 400; ++n) {
    shaper[n] = n < 200 ? 6.0f : -6.0f;
  }
  limiter[100] = -4.0f; /* at 5.025 s */
  const PlanishReportGains gains[] = {{"limiter", "reduction", limiter, 400, 0.05, false},
                                      {"shaper", "gain change", shaper, 400, 0.05, true}};
  PlanishMoment moments[PLANISH_REPORT_MOMENTS];
  assert_int_equal(planish_moments_find(gains, 2, moments), 1);
  assert_true(fabs(moments[0].at - 5.025) < 1e-9);
  assert_true(fabs(moments[0].gain + 4.0) < 1e-6);
  assert_int_equal(moments[0].hardest, 0);
  assert_true(fabs(planish_gain_at(&gains[1], 5.025) - 6.0) < 1e-6);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(planted_stretches_are_found),
      cmocka_unit_test(what_is_short_is_one_loop),
      cmocka_unit_test(the_hardest_moments_come_first_and_apart),
      cmocka_unit_test(a_branch_is_no_part_of_the_sum),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
