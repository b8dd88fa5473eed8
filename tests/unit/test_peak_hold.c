#include "common/dsp/peak_hold.h"
#include "tests/unit/cmocka_headers.h"

static void holds_for_a_second(void **state)
{
  (void)state;
  enum { RATE = 48000, BLOCK = 32 };
  for (int start = 0; start < 3200; start += 800) {
    PlanishPeakHold hold;
    planish_peak_hold_setup(&hold, RATE, -120.0);
    assert_true(planish_peak_hold_value(&hold) == -120.0);
    int gone = 0;
    for (int n = 0; n < 2 * RATE; n += BLOCK) {
      planish_peak_hold_push(&hold, n == start ? 3.0 : -50.0, BLOCK);
      if (n >= start && planish_peak_hold_value(&hold) < 3.0 && gone == 0) {
        gone = n - start;
      }
    }
    assert_in_range(gone, RATE, RATE * 17 / 16 + 2 * BLOCK);
    assert_true(planish_peak_hold_value(&hold) == -50.0);
  }
}

static void takes_a_larger_value_at_once(void **state)
{
  (void)state;
  PlanishPeakHold hold;
  planish_peak_hold_setup(&hold, 48000.0, 0.0);
  planish_peak_hold_push(&hold, 1.0, 1);
  planish_peak_hold_push(&hold, 2.0, 1);
  assert_true(planish_peak_hold_value(&hold) == 2.0);
  planish_peak_hold_reset(&hold);
  assert_true(planish_peak_hold_value(&hold) == 0.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(holds_for_a_second),
      cmocka_unit_test(takes_a_larger_value_at_once),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
