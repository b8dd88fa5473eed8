/* The static curve, on the tables of its closed forms, and its bound. */
#include "common/dsp/gain_curve.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

static void tanh_is_that_of_libm(void **state)
{
  (void)state;
  double worst = 0.0;
  for (double x = -40.0; x <= 40.0; x += 0.000731) {
    worst = fmax(worst, fabs(planish_tanh(x) - tanh(x)));
    assert_true(fabs(planish_tanh(x)) <= 1.0);
    assert_true(planish_tanh(-x) == -planish_tanh(x));
  }
  printf("tanh against libm: %.2g\n", worst);
  assert_true(worst <= 4e-16);
  assert_true(planish_tanh(0.0) == 0.0);
}

typedef struct {
  double level;
  double result;
} Point;

static void check(const PlanishGainCurve *curve, const Point *points, size_t count)
{
  for (size_t i = 0; i < count; ++i) {
    const PlanishGainParts parts = planish_gain_curve_unbounded(curve, points[i].level);
    const double result = points[i].level - parts.above + parts.below;
    assert_true(fabs(result - points[i].result) <= 6e-6);
  }
}

/* Giannoulis, Massberg, Reiss, JAES 60 (2012), eq. 4. */
static void above_is_the_published_gain_computer(void **state)
{
  (void)state;
  static const Point wide[] = {{-25.0, -25.0},     {-22.5, -22.73438}, {-20.0, -20.9375},
                               {-17.5, -19.60938}, {-15.0, -18.75},    {-10.0, -17.5},
                               {0.0, -15.0}};
  static const Point narrow[] = {{-25.0, -25.0},     {-22.5, -22.51042}, {-20.0, -20.375},
                                 {-17.5, -18.76042}, {-15.0, -17.5},     {-10.0, -15.0},
                                 {0.0, -10.0}};
  static const Point limiting[] = {{-25.0, -25.0},     {-22.5, -22.52083}, {-20.0, -20.75},
                                   {-17.5, -20.02083}, {-15.0, -20.0},     {0.0, -20.0}};
  check(&(PlanishGainCurve){.threshold = -20.0, .slope_above = 0.75, .knee = 10.0}, wide, 7);
  check(&(PlanishGainCurve){.threshold = -20.0, .slope_above = 0.5, .knee = 6.0}, narrow, 7);
  check(&(PlanishGainCurve){.threshold = -20.0, .slope_above = 1.0, .knee = 6.0}, limiting, 6);
}

/* The same equation turned over: expander of 1:2, upward compressor of 2:1 at -40 dB, knee 10 dB.
 */
static void below_is_the_same_turned_over(void **state)
{
  (void)state;
  static const Point expander[] = {{-60.0, -80.0},    {-50.0, -60.0},  {-45.0, -50.0},
                                   {-42.5, -45.3125}, {-40.0, -41.25}, {-37.5, -37.8125},
                                   {-35.0, -35.0}};
  static const Point lift[] = {{-50.0, -45.0},   {-45.0, -42.5},     {-42.5, -41.09375},
                               {-40.0, -39.375}, {-37.5, -37.34375}, {-35.0, -35.0}};
  PlanishGainCurve curve = {.threshold = -20.0, .dead_band = 20.0, .knee = 10.0};
  curve.slope_below = -1.0;
  check(&curve, expander, 7);
  curve.slope_below = 0.5;
  check(&curve, lift, 6);
}

/* Over many settings: no range passed, never both sides at once, and no corner: from a thousandth
 * of a dB to the next the slope changes by little (a hard cap would change it by up to 1). */
static void ranges_are_bounds_without_a_corner(void **state)
{
  (void)state;
  double sharpest = 0.0;
  double nearest = 0.0;
  for (int i = 0; i < 64; ++i) {
    const PlanishGainCurve curve = {
        .threshold = -18.0 - i % 5,
        .slope_above = i % 3 == 0 ? 0.9 : 0.5,
        .knee = 3.0 + i % 4,
        .range_above = 0.5 + i % 6,
        .dead_band = i % 7,
        .slope_below = i % 2 == 0 ? 1.0 : -0.7,
        .range_below = 1.5 + i % 3,
    };
    double last = 0.0;
    double last_slope = 0.0;
    for (int k = 0; k <= 140000; ++k) {
      const PlanishGainParts parts = planish_gain_curve_at(&curve, -120.0 + k * 1e-3);
      assert_true(parts.above >= 0.0 && parts.above <= curve.range_above);
      assert_true(fabs(parts.below) <= curve.range_below);
      assert_true(parts.above == 0.0 || parts.below == 0.0);
      const double gain = parts.below - parts.above;
      const double slope = (gain - last) * 1e3;
      if (k > 2) {
        sharpest = fmax(sharpest, fabs(slope - last_slope));
      }
      last = gain;
      last_slope = slope;
      nearest = fmax(nearest, parts.above / curve.range_above);
    }
  }
  printf("largest change of slope in 0.001 dB: %.5f; nearest to a range: %.6f of it\n", sharpest,
         nearest);
  assert_true(sharpest <= 0.002);
  assert_true(nearest > 0.999);
}

static void a_range_of_nothing_and_a_ratio_of_one_do_nothing(void **state)
{
  (void)state;
  const PlanishGainCurve none = {.threshold = -40.0, .slope_above = 1.0, .slope_below = 1.0};
  const PlanishGainCurve flat = {.threshold = -40.0, .range_above = 6.0, .range_below = 6.0};
  for (double level = -200.0; level < 40.0; level += 0.37) {
    const PlanishGainParts a = planish_gain_curve_at(&none, level);
    const PlanishGainParts b = planish_gain_curve_at(&flat, level);
    assert_true(a.above == 0.0 && a.below == 0.0 && b.above == 0.0 && b.below == 0.0);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(tanh_is_that_of_libm),
      cmocka_unit_test(above_is_the_published_gain_computer),
      cmocka_unit_test(below_is_the_same_turned_over),
      cmocka_unit_test(ranges_are_bounds_without_a_corner),
      cmocka_unit_test(a_range_of_nothing_and_a_ratio_of_one_do_nothing),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
