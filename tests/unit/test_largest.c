/* The largest of values by registers, against one after the other. */
#include "common/dsp/largest.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/limiter_signals.h"

#include <math.h>

enum { MOST = 70 };

static void is_the_largest(void **state)
{
  (void)state;
  uint64_t seed = 21;
  for (int round = 0; round < 5000; ++round) {
    double values[MOST];
    const uint32_t count = signal_random(&seed) % (MOST + 1);
    double largest = 0.0;
    double magnitude = 0.0;
    for (uint32_t i = 0; i < count; ++i) {
      values[i] = signal_uniform(&seed) - (round % 5 == 0 ? 1.0 : 0.0); /* all negative, too */
      largest = fmax(largest, values[i]);
      magnitude = fmax(magnitude, fabs(values[i]));
    }
    assert_true(planish_largest(values, count) == largest);
    assert_true(planish_largest_magnitude(values, count) == magnitude);
  }
}

static void each_place_counts(void **state)
{
  (void)state;
  for (uint32_t count = 1; count <= MOST; ++count) {
    for (uint32_t at = 0; at < count; ++at) {
      double values[MOST] = {0.0};
      values[at] = -1e300;
      assert_true(planish_largest_magnitude(values, count) == 1e300);
      assert_true(planish_largest(values, count) == 0.0);
      values[at] = 1e-300;
      assert_true(planish_largest(values, count) == 1e-300);
    }
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(is_the_largest),
      cmocka_unit_test(each_place_counts),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
