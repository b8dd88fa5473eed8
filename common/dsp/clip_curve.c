#include "common/dsp/clip_curve.h"

#include "common/dsp/maths.h"

/* Under this a knee is none: its parabola would be shorter than rounding. */
static const double LEAST_WIDTH = 1e-9;

/* Two neighbours closer than this, on two pieces of the curve: the quotient has no digits left, and
 * the mean of both ends is exact to far below them. */
static const double LEAST_STEP = 1e-6;

PlanishClipCurve planish_clip_curve_of(double ceiling_db, double knee_db)
{
  const double ceiling = planish_gain_of(ceiling_db);
  const double start = ceiling * planish_gain_of(-knee_db);
  const double width = ceiling - start;
  if (width < LEAST_WIDTH) {
    return (PlanishClipCurve){ceiling, ceiling, 0.0};
  }
  return (PlanishClipCurve){ceiling, start, width};
}

double planish_clip_curve_excess(const PlanishClipCurve *curve, double v)
{
  const double size = fabs(v);
  const double into = size - curve->start;
  if (into <= 0.0) {
    return 0.0;
  }
  const double excess =
      into < 2.0 * curve->width ? into * into / (4.0 * curve->width) : size - curve->ceiling;
  return v < 0.0 ? -excess : excess;
}

double planish_clip_curve_value(const PlanishClipCurve *curve, double v)
{
  return v - planish_clip_curve_excess(curve, v);
}

double planish_clip_curve_antiderivative(const PlanishClipCurve *curve, double v)
{
  const double into = fabs(v) - curve->start;
  const double width = curve->width;
  if (into <= 0.0) {
    return 0.0;
  }
  if (into < 2.0 * width) {
    return into * into * into / (12.0 * width);
  }
  const double over = fabs(v) - curve->ceiling;
  return 0.5 * over * over + width * width / 6.0;
}

/* 0: the line; 1: the parabola; 2: the ceiling; negative below 0. */
static int piece(const PlanishClipCurve *curve, double v)
{
  const double into = fabs(v) - curve->start;
  const int index = into <= 0.0 ? 0 : (into < 2.0 * curve->width ? 1 : 2);
  return v < 0.0 ? -index : index;
}

static double mean_between(const PlanishClipCurve *curve, double v0, double v1)
{
  const int piece0 = piece(curve, v0);
  const int piece1 = piece(curve, v1);
  if (piece0 == piece1) {
    if (piece0 == 0) {
      return 0.0;
    }
    const double sign = piece0 < 0 ? -1.0 : 1.0;
    if (piece0 == 2 || piece0 == -2) {
      return 0.5 * (v0 + v1) - sign * curve->ceiling;
    }
    const double a = sign * v0 - curve->start;
    const double b = sign * v1 - curve->start;
    return sign * (a * a + a * b + b * b) / (12.0 * curve->width);
  }
  if (fabs(v1 - v0) < LEAST_STEP) {
    return 0.5 * (planish_clip_curve_excess(curve, v0) + planish_clip_curve_excess(curve, v1));
  }
  return (planish_clip_curve_antiderivative(curve, v1) -
          planish_clip_curve_antiderivative(curve, v0)) /
         (v1 - v0);
}

double planish_clip_curve_means(const PlanishClipCurve *curve, double last, const double *fine,
                                double *means, uint32_t count)
{
  double largest = fabs(last);
  for (uint32_t i = 0; i < count; ++i) {
    largest = planish_max(largest, fabs(fine[i]));
  }
  if (largest <= curve->start) {
    return 0.0;
  }
  for (uint32_t i = 0; i < count; ++i) {
    means[i] = mean_between(curve, i == 0 ? last : fine[i - 1], fine[i]);
  }
  return largest;
}
