/* The static curve of a dynamics stage: how much to take off above a threshold, and how much to
 * give or take below a lower one.
 *
 * Above: the gain computer of Giannoulis, Massberg, Reiss, JAES 60 (2012), eq. 4, with a quadratic
 * knee of `knee` dB around the threshold. Below: the same knee and line turned over, starting at
 * threshold - dead_band. A slope there of +0.5 is an upward compressor of 2:1, of -1 a downward
 * expander of 1:2. A dead band narrower than the knee counts as the knee, so that the two never
 * work on the same level.
 *
 * Each side is bounded by r tanh(v / r), so its range is never passed, and the slope is continuous
 * all along the curve.
 *
 * Thread: any; a curve may be shared. Real-time safe. */
#ifndef PLANISH_DSP_GAIN_CURVE_H
#define PLANISH_DSP_GAIN_CURVE_H

#include "common/dsp/tanh.h"

typedef struct {
  double threshold;   /* dB */
  double slope_above; /* dB to take off for a dB over the threshold: 1 - 1/ratio, 0..1 */
  double knee;        /* dB, >= 0 */
  double range_above; /* dB, >= 0 */
  double dead_band;   /* dB, >= 0 */
  double slope_below; /* dB for a dB under it: > 0 lifts, < 0 expands, -1..1 */
  double range_below; /* dB, >= 0 */
} PlanishGainCurve;

/* At most one of the two differs from 0. */
typedef struct {
  double above; /* dB to take off, >= 0 */
  double below; /* dB to add: positive lifts, negative expands */
} PlanishGainParts;

/* How far a level is into a side: 0, the knee's parabola, then the line. `over` in dB. */
static inline double planish_knee(double over, double knee)
{
  const double into = over + 0.5 * knee;
  if (into <= 0.0) {
    return 0.0;
  }
  return into < knee ? into * into / (2.0 * knee) : over;
}

/* Before the bounds. */
static inline PlanishGainParts planish_gain_curve_unbounded(const PlanishGainCurve *curve,
                                                            double level)
{
  const double lower = curve->threshold - planish_max(curve->dead_band, curve->knee);
  return (PlanishGainParts){
      .above = curve->slope_above * planish_knee(level - curve->threshold, curve->knee),
      .below = curve->slope_below * planish_knee(lower - level, curve->knee),
  };
}

static inline PlanishGainParts planish_gain_curve_at(const PlanishGainCurve *curve, double level)
{
  PlanishGainParts parts = planish_gain_curve_unbounded(curve, level);
  if (parts.above != 0.0) {
    parts.above = planish_soft_bound(parts.above, curve->range_above);
  }
  if (parts.below != 0.0) {
    parts.below = planish_soft_bound(parts.below, curve->range_below);
  }
  return parts;
}

#endif
