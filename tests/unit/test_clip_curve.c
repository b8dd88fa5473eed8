#include "common/dsp/clip_curve.h"
#include "common/dsp/clip_means.h"
#include "common/dsp/maths.h"
#include "tests/unit/clip_excess.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>

static const double knees[] = {0.0, 0.01, 1.0, 2.0, 3.0, 6.0};
static const double ceilings[] = {-12.0, -1.0, 0.0};

enum { KNEES = sizeof knees / sizeof *knees, CEILINGS = sizeof ceilings / sizeof *ceilings };

/* Two segments' means, in one lane of four; the others' points are elsewhere. Returns the largest
 * magnitude among the points if it lies beyond the start, else 0. */
static double means_of(const PlanishClipCurve *curve, double last, const double *fine,
                       double *means)
{
  static uint32_t calls = 0;
  const uint32_t lane = calls++ % PLANISH_LANES;
  PlanishClipCurves curves;
  planish_clip_curves_fill(&curves, curve);
  const PlanishClipCurveLanes lanes = planish_clip_curve_lanes(&curves, 0);
  PlanishFour points[3] = {planish_all(0.3), planish_all(-1.7), planish_all(2.9)};
  PlanishFour beyond[3];
  PlanishFour found[2];
  points[0][lane] = last;
  points[1][lane] = fine[0];
  points[2][lane] = fine[1];
  for (int p = 0; p < 3; ++p) {
    beyond[p] = planish_clip_beyond(&lanes, points[p]);
  }
  if (curves.hard) {
    planish_clip_means(&lanes, points, beyond, found, 2, true);
  } else {
    planish_clip_means(&lanes, points, beyond, found, 2, false);
  }
  means[0] = found[0][lane];
  means[1] = found[1][lane];
  const double most = planish_max(fabs(last), planish_max(fabs(fine[0]), fabs(fine[1])));
  return most > curve->start ? most : 0.0;
}

static void knee_is_continuous_and_meets_the_ceiling_level(void **state)
{
  (void)state;
  double jump = 0.0;
  double bend = 0.0;
  for (size_t i = 0; i < KNEES * CEILINGS; ++i) {
    const PlanishClipCurve c = planish_clip_curve_of(ceilings[i / KNEES], knees[i % KNEES]);
    const double end = c.start + 2.0 * c.width;
    assert_true(planish_clip_curve_value(&c, c.start) == c.start);
    assert_true(planish_clip_curve_value(&c, -0.5 * c.start) == -0.5 * c.start);
    assert_true(fabs(planish_clip_curve_value(&c, 3.0) - c.ceiling) < 1e-15);
    const double joints[] = {c.start, end};
    for (int j = 0; j < 2; ++j) {
      const double h = 1e-7;
      const double before = planish_clip_curve_value(&c, joints[j] - h);
      const double at = planish_clip_curve_value(&c, joints[j]);
      const double after = planish_clip_curve_value(&c, joints[j] + h);
      jump = planish_max(jump, fabs(after - before));
      if (c.width > 1e-3) {
        bend = planish_max(bend, fabs((after - at) - (at - before)) / h);
        /* Slope 1 where the knee begins, 0 where it meets the ceiling. */
        assert_true(fabs((after - before) / (2.0 * h) - (j == 0 ? 1.0 : 0.0)) < 1e-4);
      }
    }
    double last = -4.0;
    for (double v = -4.0; v <= 4.0; v += 0.001) {
      const double y = planish_clip_curve_value(&c, v);
      assert_true(y >= planish_clip_curve_value(&c, last) - 1e-15);
      assert_true(fabs(y) <= c.ceiling + 1e-15);
      assert_true(y == -planish_clip_curve_value(&c, -v));
      last = v;
    }
  }
  printf("knee: largest step over 2e-7 at a joint %.3g, largest change of slope %.3g\n", jump,
         bend);
  assert_true(jump < 2.1e-7);
  assert_true(bend < 1e-4);
}

static void antiderivative_is_one(void **state)
{
  (void)state;
  double worst = 0.0;
  for (size_t i = 0; i < KNEES * CEILINGS; ++i) {
    const PlanishClipCurve c = planish_clip_curve_of(ceilings[i / KNEES], knees[i % KNEES]);
    for (double v = -3.0; v < 3.0; v += 0.00123) {
      const double h = 1e-5;
      const double slope =
          (excess_antiderivative(&c, v + h) - excess_antiderivative(&c, v - h)) / (2.0 * h);
      worst = planish_max(worst, fabs(slope - planish_clip_curve_excess(&c, v)));
    }
  }
  printf("antiderivative: slope off the excess by at most %.2g\n", worst);
  assert_true(worst < 3e-6); /* a hard corner within +-h: h/4 */
}

/* Against the mean of many points of the segment. */
static void means_are_means_of_segments(void **state)
{
  (void)state;
  uint32_t seed = 7;
  double worst = 0.0;
  for (int trial = 0; trial < 3000; ++trial) {
    double v[3];
    for (int i = 0; i < 3; ++i) {
      seed = seed * 1664525u + 1013904223u;
      v[i] = 2.0 * (double)(int32_t)seed / 2147483648.0;
    }
    const double sizes[] = {1.0, 1e-3, 1e-6, 1e-9};
    v[2] = v[1] + sizes[trial % 4] * v[2];
    const PlanishClipCurve c =
        planish_clip_curve_of(ceilings[trial % CEILINGS], knees[trial % KNEES]);
    double means[2];
    if (means_of(&c, v[0], v + 1, means) == 0.0) {
      assert_true(means[0] == 0.0 && means[1] == 0.0);
      continue;
    }
    for (int i = 0; i < 2; ++i) {
      enum { POINTS = 2000 };
      double sum = 0.0;
      for (int k = 0; k < POINTS; ++k) {
        sum += planish_clip_curve_excess(&c, v[i] + (v[i + 1] - v[i]) * (k + 0.5) / POINTS);
      }
      worst = planish_max(worst, fabs(means[i] - sum / POINTS));
    }
  }
  printf("mean excess: off the sum over the segment by at most %.2g\n", worst);
  assert_true(worst < 1e-6);
}

/* What is said of hard curves: the knee's formulas give the same bits there. */
static void hard_curves_need_no_knee(void **state)
{
  (void)state;
  uint32_t seed = 5;
  PlanishClipCurves curves;
  const PlanishClipCurve c = planish_clip_curve_of(-1.0, 0.0);
  planish_clip_curves_fill(&curves, &c);
  assert_true(curves.hard);
  const PlanishClipCurveLanes lanes = planish_clip_curve_lanes(&curves, 0);
  for (int trial = 0; trial < 2000; ++trial) {
    PlanishFour points[3];
    PlanishFour beyond[3];
    PlanishFour hard[2];
    PlanishFour knee[2];
    for (int i = 0; i < 3; ++i) {
      for (int lane = 0; lane < PLANISH_LANES; ++lane) {
        seed = seed * 1664525u + 1013904223u;
        const double step = (double)(int32_t)seed / 2147483648.0;
        points[i][lane] = i == 0 || trial % 2 == 0 ? 2.0 * step : points[0][lane] + 2e-6 * step;
      }
      beyond[i] = planish_clip_beyond(&lanes, points[i]);
    }
    planish_clip_means(&lanes, points, beyond, hard, 2, true);
    planish_clip_means(&lanes, points, beyond, knee, 2, false);
    assert_memory_equal(hard, knee, sizeof hard);
  }
}

/* The quotient must keep its digits: a slow ramp through both joints has a smooth mean. */
static void small_steps_keep_their_digits(void **state)
{
  (void)state;
  const PlanishClipCurve c = planish_clip_curve_of(-1.0, 2.0);
  const double end = c.start + 2.0 * c.width;
  double worst = 0.0;
  for (double step = 1e-9; step < 1e-3; step *= 1.37) {
    for (int k = -3; k <= 3; ++k) {
      const double joints[] = {c.start, end};
      for (int j = 0; j < 2; ++j) {
        const double v1 = joints[j] + step * (0.3 + k);
        const double pair[2] = {v1, v1};
        double means[2] = {0.0};
        means_of(&c, v1 - step, pair, means);
        const double middle = planish_clip_curve_excess(&c, v1 - 0.5 * step);
        /* The curve bends by at most 1/(2 width): the mean is within step^2/(16 width) of it. */
        const double allowed = step * step / (16.0 * c.width) * 2.0;
        worst = planish_max(worst, fabs(means[0] - middle) - allowed);
      }
    }
  }
  printf("mean excess over small steps: off by at most %.2g beyond the curve's bend\n", worst);
  assert_true(worst < 2e-10);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(knee_is_continuous_and_meets_the_ceiling_level),
      cmocka_unit_test(antiderivative_is_one),
      cmocka_unit_test(means_are_means_of_segments),
      cmocka_unit_test(hard_curves_need_no_knee),
      cmocka_unit_test(small_steps_keep_their_digits),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
