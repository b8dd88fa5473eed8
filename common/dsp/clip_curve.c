#include "common/dsp/clip_curve.h"

#include "common/dsp/maths.h"

/* Under this a knee is none: its parabola would be shorter than rounding. */
static const double LEAST_WIDTH = 1e-9;

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

static void put(PlanishClipCurves *curves, uint32_t frame, const PlanishClipCurve *curve)
{
  curves->ceiling[frame] = curve->ceiling;
  curves->start[frame] = curve->start;
  curves->width[frame] = curve->width;
  curves->twelfth[frame] = curve->twelfth;
}

void planish_clip_curves_fill(PlanishClipCurves *curves, const PlanishClipCurve *curve)
{
  for (uint32_t i = 0; i < PLANISH_GRID; ++i) {
    put(curves, i, curve);
  }
  curves->lowest = curve->start;
  curves->hard = curve->width == 0.0;
}

void planish_clip_curves_take(PlanishClipCurves *curves, const PlanishClipCurve *each,
                              uint32_t frames)
{
  curves->lowest = each->start;
  curves->hard = true;
  for (uint32_t i = 0; i < frames; ++i) {
    put(curves, i, each + i);
    curves->lowest = planish_min(curves->lowest, each[i].start);
    curves->hard = curves->hard && each[i].width == 0.0;
  }
}
