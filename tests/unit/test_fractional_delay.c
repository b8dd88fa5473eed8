#include "common/dsp/fractional_delay.h"
#include "common/dsp/maths.h"
#include "tests/unit/cmocka_headers.h"

#include <complex.h>
#include <stdio.h>

/* Largest distance from the ideal delay between 0 and `top` (a share of the rate). */
static double error_of(const double *h, uint32_t taps, double fraction, double top)
{
  double worst = 0.0;
  for (int i = 0; i <= 400; ++i) {
    const double w = 2.0 * PLANISH_PI * top * i / 400.0;
    double complex sum = 0.0;
    for (uint32_t k = 0; k < taps; ++k) {
      const double t = (double)k - (0.5 * taps - 1.0) - fraction;
      sum += h[k] * cexp((double complex)I * (w * t));
    }
    worst = fmax(worst, cabs(sum - 1.0));
  }
  return worst;
}

static void windowed_sinc(double *h, uint32_t taps, double fraction)
{
  for (uint32_t k = 0; k < taps; ++k) {
    const double t = (double)k - (0.5 * taps - 1.0) - fraction;
    const double window = 0.5 + 0.5 * cos(2.0 * PLANISH_PI * t / taps);
    h[k] = window * sin(PLANISH_PI * t) / (PLANISH_PI * t);
  }
}

static const PlanishDelayWeight weight = {PLANISH_DELAY_WEIGHT_20_KHZ, 300.0};

/* To 20 kHz at 44.1 kHz, and well beyond it, where a windowed sinc gives up. */
static void follows_the_ideal_delay(void **state)
{
  (void)state;
  static const double fractions[] = {0.25, 0.5, 0.75};
  double h[96];
  for (size_t i = 0; i < 3; ++i) {
    planish_fractional_delay_design(h, 96, fractions[i], weight);
    const double heard = error_of(h, 96, fractions[i], 20000.0 / 44100.0);
    const double beyond = error_of(h, 96, fractions[i], 0.495);
    windowed_sinc(h, 96, fractions[i]);
    const double plain = error_of(h, 96, fractions[i], 0.495);
    printf("delay %.2f, 96 taps: error %.5f to 0.4535 of the rate, %.3f to 0.495 (Hann %.3f)\n",
           fractions[i], heard, beyond, plain);
    assert_true(heard < 0.004);
    assert_true(beyond < 0.5 * plain);
  }
}

/* Many taps hold the weight nearly up to half the rate. */
static void many_taps_see_nearly_all(void **state)
{
  (void)state;
  enum { TAPS = PLANISH_FRACTIONAL_DELAY_MAX_TAPS };
  double h[TAPS];
  planish_fractional_delay_design(h, TAPS, 0.5, weight);
  const double before = error_of(h, TAPS, 0.5, 0.49);
  planish_fractional_delay_design(h, TAPS, 0.5, (PlanishDelayWeight){0.495, 1000.0});
  const double reached = error_of(h, TAPS, 0.5, 0.49);
  printf("delay 0.50, 512 taps: error %.5f to 0.49 of the rate, with a weight to 20 kHz %.5f\n",
         reached, before);
  assert_true(reached < 0.003);
  assert_true(before > 5.0 * reached);
}

static void phases_mirror_each_other_and_keep_a_constant(void **state)
{
  (void)state;
  static const uint32_t sizes[] = {2, 8, 48, 96, PLANISH_FRACTIONAL_DELAY_MAX_TAPS};
  for (size_t s = 0; s < sizeof sizes / sizeof *sizes; ++s) {
    double a[PLANISH_FRACTIONAL_DELAY_MAX_TAPS];
    double b[PLANISH_FRACTIONAL_DELAY_MAX_TAPS];
    double sum = 0.0;
    planish_fractional_delay_design(a, sizes[s], 0.25, weight);
    planish_fractional_delay_design(b, sizes[s], 0.75, weight);
    for (uint32_t k = 0; k < sizes[s]; ++k) {
      sum += a[k];
      assert_true(fabs(a[k] - b[sizes[s] - 1 - k]) < 1e-9);
    }
    assert_true(fabs(sum - 1.0) < 1e-12);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(follows_the_ideal_delay),
      cmocka_unit_test(many_taps_see_nearly_all),
      cmocka_unit_test(phases_mirror_each_other_and_keep_a_constant),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
