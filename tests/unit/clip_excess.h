/* What a clipper takes away, in closed form. */
#ifndef TESTS_CLIP_EXCESS_H
#define TESTS_CLIP_EXCESS_H

#include "common/dsp/clip_curve.h"

#include <math.h>

/* The antiderivative of planish_clip_curve_excess(), even, 0 up to the start of the curve. */
static inline double excess_antiderivative(const PlanishClipCurve *curve, double v)
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

#endif
