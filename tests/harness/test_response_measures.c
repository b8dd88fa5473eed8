/* The measurements behind planish response, on plugins whose answers are known. */
#include "harness/response/frequency_response.h"
#include "harness/response/level_curve.h"
#include "tests/harness/response_fixture.h"

#include <math.h>
#include <string.h>

/* 90001 frames are more than a period of the noise. */
static void a_delay_that_is_reported_is_no_phase(void **state)
{
  (void)state;
  static const float taps[] = {0.0f, 777.0f, 90001.0f};
  static const double hz[] = {20.0, 100.0, 1000.0, 5000.0, 20000.0};
  enum { COUNT = sizeof hz / sizeof *hz };
  for (size_t t = 0; t < sizeof taps / sizeof *taps; ++t) {
    PlanishProbeSetup setup = setup_of("test-delay", PLANISH_PROBE_STEREO);
    set(&setup, "taps", taps[t]);
    PlanishFrequencyResponse *response =
        planish_frequency_response_new(&setup, &(PlanishNoise){.level = -40.0}, hz, COUNT, NULL);
    assert_non_null(response);
    assert_true(response->settled && response->latency == (uint32_t)taps[t]);
    assert_int_equal(response->count, COUNT);
    double worst = 0.0;
    for (size_t n = 0; n < COUNT; ++n) {
      assert_true(fabs(response->hz[n] - hz[n]) < 0.4);
      worst = fmax(worst, cabs(response->answers[n] - 1.0));
    }
    print_message("%5.0f frames late: off 1 by %.2g\n", (double)taps[t], worst);
    assert_true(worst < 1e-9);
    planish_frequency_response_free(response);

    static const double in[] = {-60.0, 0.0};
    double out[2];
    bool settled = false;
    assert_true(planish_level_curve(&setup, 997.0, in, out, 2, &settled, NULL));
    assert_true(settled && fabs(out[0] + 60.0) < 1e-4 && fabs(out[1]) < 1e-4);
  }
}

/* The part of c tanh(a sin(t) / c) at the tone itself, by the trapezoid rule, which is exact for
 * what repeats. */
static double drive_level(double amplitude, double ceiling)
{
  enum { STEPS = 4096 };
  double sum = 0.0;
  for (int n = 0; n < STEPS; ++n) {
    const double s = sin(2.0 * pi * n / STEPS);
    sum += ceiling * tanh(amplitude * s / ceiling) * s;
  }
  return 20.0 * log10(2.0 * sum / STEPS);
}

static void a_curve_is_its_describing_function(void **state)
{
  (void)state;
  static const double in[] = {-80.0, -40.0, -12.0, -3.0, 0.0, 6.0};
  static const double tones[] = {20.0, 997.0, 1234.5};
  enum { COUNT = sizeof in / sizeof *in };
  const double ceiling = pow(10.0, -1.0 / 20.0);
  double worst = 0.0;
  for (size_t t = 0; t < sizeof tones / sizeof *tones; ++t) {
    for (int channel = PLANISH_PROBE_STEREO; channel <= PLANISH_PROBE_RIGHT; ++channel) {
      PlanishProbeSetup setup = setup_of("test-drive", (PlanishProbeChannel)channel);
      double out[COUNT];
      bool settled = false;
      assert_true(planish_level_curve(&setup, tones[t], in, out, COUNT, &settled, NULL));
      assert_true(settled);
      for (int n = 0; n < COUNT; ++n) {
        worst = fmax(worst, fabs(out[n] - drive_level(pow(10.0, in[n] / 20.0), ceiling)));
      }
    }
  }
  print_message("within %.5f dB\n", worst);
  assert_true(worst < 0.002);
}

static void what_changes_while_it_runs_is_told(void **state)
{
  (void)state;
  static const double hz[] = {100.0, 1000.0};
  PlanishProbeSetup setup = setup_of("test-delay", PLANISH_PROBE_LEFT);
  set(&setup, "wander_at", 50000.0f);
  PlanishError error = {0};
  assert_null(
      planish_frequency_response_new(&setup, &(PlanishNoise){.level = -40.0}, hz, 2, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_USE);
  assert_non_null(strstr(error.text, "latency changed"));
}

int main(void)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_delay_that_is_reported_is_no_phase),
      cmocka_unit_test(a_curve_is_its_describing_function),
      cmocka_unit_test(what_changes_while_it_runs_is_told),
  };
  const int failed = host == NULL ? 1 : cmocka_run_group_tests(tests, NULL, NULL);
  planish_host_free(host);
  return failed;
}
