/* Gains whose ranges have shrunk since they were made. */
#include "common/dsp/dynamic_gain.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>

static void each_way_keeps_to_its_range_of_now(void **state)
{
  (void)state;
  static const struct {
    PlanishGainParts parts;
    double range_above;
    double range_below;
    double gain;
  } rows[] = {
      {{0.0, 0.0}, 1.0, 1.0, 0.0},
      {{1.0, 0.0}, 1.5, 0.0, -1.0},
      {{3.0, 0.0}, 0.5, 6.0, -0.5}, /* a wide range below gives none above */
      {{0.0, 5.0}, 6.0, 1.0, 1.0},
      {{0.0, -5.0}, 6.0, 1.0, -1.0},
      {{3.0, 5.0}, 1.0, 2.0, 1.0},
      {{2.0, -2.0}, 2.0, 3.0, -3.0}, /* together no further down than the larger */
      {{2.0, -2.0}, 3.0, 2.0, -3.0},
      {{2.0, 2.0}, 0.0, 0.0, 0.0},
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
    const PlanishGainCurve curve = {.range_above = rows[i].range_above,
                                    .range_below = rows[i].range_below};
    const double gain = planish_gain_bounded(&rows[i].parts, &curve);
    if (gain != rows[i].gain) {
      print_error("row %zu: %g for %g\n", i, gain, rows[i].gain);
    }
    assert_true(gain == rows[i].gain);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_way_keeps_to_its_range_of_now),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
