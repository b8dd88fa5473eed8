#include "common/dsp/clip_curve.h"

#include "common/dsp/maths.h"
#include "common/dsp/two_lanes.h"

#include <string.h>

/* Under this a knee is none: its parabola would be shorter than rounding. */
static const double LEAST_WIDTH = 1e-9;

/* Of two neighbours closer than this the excess at their middle stands for its mean: it is off by
 * at most step^2 / (48 width), far less than the quotient of two rounded differences. */
static const double LEAST_STEP = 1e-6;

PlanishClipCurve planish_clip_curve_of(double ceiling_db, double knee_db)
{
  const double ceiling = planish_gain_of(ceiling_db);
  const double start = ceiling * planish_gain_of(-knee_db);
  const double width = ceiling - start;
  if (width < LEAST_WIDTH) {
    return (PlanishClipCurve){ceiling, ceiling, 0.0, 0.0};
  }
  return (PlanishClipCurve){ceiling, start, width, 1.0 / (12.0 * width)};
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

typedef int64_t Mask __attribute__((vector_size(16)));

static inline PlanishTwo choose(Mask mask, PlanishTwo yes, PlanishTwo no)
{
  return (PlanishTwo)((mask & (Mask)yes) | (~mask & (Mask)no));
}

static inline PlanishTwo magnitude(PlanishTwo v)
{
  const Mask but_sign = {INT64_MAX, INT64_MAX};
  return (PlanishTwo)((Mask)v & but_sign);
}

/* How far two points lie beyond the curve's start; 0 below it. */
static inline PlanishTwo beyond(const PlanishClipCurve *curve, PlanishTwo v)
{
  const PlanishTwo into = magnitude(v) - planish_both(curve->start);
  return choose(into > planish_both(0.0), into, planish_both(0.0));
}

/* The two functions of the header, two points at a time and without branches: where a loud signal
 * crosses the corner is as good as random, and each wrong guess costs more than all of this. */
static inline PlanishTwo antiderivatives(const PlanishClipCurve *curve, PlanishTwo v)
{
  const PlanishTwo into = beyond(curve, v);
  const PlanishTwo over = into - planish_both(curve->width);
  const PlanishTwo knee = into * into * into * planish_both(curve->twelfth);
  const PlanishTwo flat =
      planish_both(0.5) * over * over + planish_both(curve->width * curve->width / 6.0);
  return choose(into < planish_both(2.0 * curve->width), knee, flat);
}

static inline PlanishTwo excesses(const PlanishClipCurve *curve, PlanishTwo v)
{
  const PlanishTwo into = beyond(curve, v);
  const PlanishTwo knee = into * into * planish_both(3.0 * curve->twelfth);
  const PlanishTwo flat = into - planish_both(curve->width);
  const PlanishTwo size = choose(into < planish_both(2.0 * curve->width), knee, flat);
  return choose(v < planish_both(0.0), -size, size);
}

static inline PlanishTwo load(const double *at)
{
  PlanishTwo two;
  memcpy(&two, at, sizeof two);
  return two;
}

double planish_clip_curve_means(const PlanishClipCurve *curve, double last, const double *fine,
                                double *means, uint32_t count)
{
  double v[PLANISH_CLIP_CURVE_MAX + 1];
  double f[PLANISH_CLIP_CURVE_MAX + 1];
  PlanishTwo most = planish_both(fabs(last));
  for (uint32_t i = 0; i < count; i += 2) {
    const PlanishTwo size = magnitude(load(fine + i));
    most = choose(size > most, size, most);
  }
  const double largest = planish_max(most[0], most[1]);
  if (largest <= curve->start) {
    return 0.0;
  }
  v[0] = last;
  f[0] = antiderivatives(curve, planish_both(last))[0];
  for (uint32_t i = 0; i < count; i += 2) {
    const PlanishTwo points = load(fine + i);
    const PlanishTwo found = antiderivatives(curve, points);
    memcpy(v + 1 + i, &points, sizeof points);
    memcpy(f + 1 + i, &found, sizeof found);
  }
  for (uint32_t i = 0; i < count; i += 2) {
    const PlanishTwo v0 = load(v + i);
    const PlanishTwo v1 = load(v + i + 1);
    const PlanishTwo step = v1 - v0;
    const Mask small = magnitude(step) < planish_both(LEAST_STEP);
    const PlanishTwo quotient =
        (load(f + i + 1) - load(f + i)) / choose(small, planish_both(1.0), step);
    const PlanishTwo middle = excesses(curve, planish_both(0.5) * (v0 + v1));
    const PlanishTwo mean = choose(small, middle, quotient);
    memcpy(means + i, &mean, sizeof mean);
  }
  return largest;
}
