/* What a clip curve takes away, as means over segments, of four frames side by side.
 *
 * means[p]: the mean of the excess over the segment from points[p] to points[p+1] (clip_curve.h),
 * in each lane for that lane's frame. Where none of a frame's points lies beyond the curve's start,
 * all its means are 0. No branch depends on a point: where a loud signal crosses the corner is as
 * good as random, and each wrong guess costs more than all of this.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_CLIP_MEANS_H
#define PLANISH_DSP_CLIP_MEANS_H

#include "common/dsp/clip_curve.h"
#include "common/dsp/four_lanes.h"

/* Of two neighbours closer than this the excess at their middle stands for its mean: it is off by
 * at most step^2 / (48 width), far less than the quotient of two rounded differences. */
#define PLANISH_CLIP_LEAST_STEP 1e-6

/* Four frames' curves, each a lane. */
typedef struct {
  PlanishFour start;
  PlanishFour width;
  PlanishFour twelfth;
  PlanishFour sixth; /* of the width's square */
} PlanishClipCurveLanes;

PLANISH_INLINED PlanishClipCurveLanes planish_clip_curve_lanes(const PlanishClipCurves *curves,
                                                               uint32_t at)
{
  const PlanishFour width = planish_four_load(curves->width + at);
  return (PlanishClipCurveLanes){planish_four_load(curves->start + at), width,
                                 planish_four_load(curves->twelfth + at),
                                 width * width / planish_all(6.0)};
}

/* How far points lie beyond the curve's start; 0 below it. */
PLANISH_INLINED PlanishFour planish_clip_beyond(const PlanishClipCurveLanes *curve, PlanishFour v)
{
  return planish_four_above_zero(planish_four_magnitude(v) - curve->start);
}

/* The functions of clip_curve.h, the first of how far points lie beyond. Of a hard curve the knee
 * is empty, and what lies beyond it has the same bits without it. */
PLANISH_INLINED PlanishFour planish_clip_antiderivatives(const PlanishClipCurveLanes *curve,
                                                         PlanishFour into, bool hard)
{
  if (hard) {
    return planish_all(0.5) * into * into;
  }
  const PlanishFour over = into - curve->width;
  const PlanishFour knee = into * into * into * curve->twelfth;
  const PlanishFour flat = planish_all(0.5) * over * over + curve->sixth;
  return planish_four_choose(planish_four_less(into, planish_all(2.0) * curve->width), knee, flat);
}

PLANISH_INLINED PlanishFour planish_clip_excesses(const PlanishClipCurveLanes *curve, PlanishFour v,
                                                  bool hard)
{
  PlanishFour size = planish_clip_beyond(curve, v);
  if (!hard) {
    const PlanishFour knee = size * size * (planish_all(3.0) * curve->twelfth);
    const PlanishFour flat = size - curve->width;
    size =
        planish_four_choose(planish_four_less(size, planish_all(2.0) * curve->width), knee, flat);
  }
  return planish_four_with_sign(size, v);
}

/* beyond[p]: how far points[p] lies beyond. `hard`: the width of all four is 0; a constant where
 * this is called. Points 0..count. */
PLANISH_INLINED void planish_clip_means(const PlanishClipCurveLanes *curve,
                                        const PlanishFour *points, const PlanishFour *beyond,
                                        PlanishFour *means, uint32_t count, bool hard)
{
  PlanishFour from = planish_clip_antiderivatives(curve, beyond[0], hard);
  for (uint32_t p = 0; p < count; ++p) {
    const PlanishFour to = planish_clip_antiderivatives(curve, beyond[p + 1], hard);
    const PlanishFour step = points[p + 1] - points[p];
    const PlanishFourMask small =
        planish_four_less(planish_four_magnitude(step), planish_all(PLANISH_CLIP_LEAST_STEP));
    const PlanishFour quotient = (to - from) / planish_four_choose(small, planish_all(1.0), step);
    const PlanishFour middle =
        planish_clip_excesses(curve, planish_all(0.5) * (points[p] + points[p + 1]), hard);
    means[p] = planish_four_choose(small, middle, quotient);
    from = to;
  }
}

#endif
