/* The curve of a clipper, and what it takes away.
 *
 * The curve is odd: a straight line of slope 1 up to `start`, a parabola that meets the ceiling
 * with slope 0 at 2 ceiling - start, then the ceiling. With start = ceiling it clips hard. Value
 * and slope are continuous wherever the knee is not hard.
 *
 * What the curve takes away, v - curve(v), is called the excess here. Over the straight segment
 * between two samples its mean is (F(v1) - F(v0)) / (v1 - v0), F its antiderivative: first-order
 * antiderivative antialiasing (Parker, Zavalishin, Le Bivic, DAFx-16). Taken of the excess instead
 * of the curve, it leaves what is not clipped alone (clip_means.h).
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_CLIP_CURVE_H
#define PLANISH_DSP_CLIP_CURVE_H

#include "common/dsp/grid.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct {
  double ceiling; /* > 0 */
  double start;   /* where the line ends; 0 < start <= ceiling */
  double width;   /* ceiling - start; 0: hard */
  double twelfth; /* 1 / (12 width), the antiderivative's factor in the knee; 0: hard */
} PlanishClipCurve;

/* Ceiling in dB re full scale; knee >= 0: how many dB under the ceiling the curve begins. */
PlanishClipCurve planish_clip_curve_of(double ceiling_db, double knee_db);

/* The hard curve of a ceiling, a magnitude > 0. */
static inline PlanishClipCurve planish_clip_curve_hard(double ceiling)
{
  return (PlanishClipCurve){.ceiling = ceiling, .start = ceiling, .width = 0.0, .twelfth = 0.0};
}

double planish_clip_curve_value(const PlanishClipCurve *curve, double v);

double planish_clip_curve_excess(const PlanishClipCurve *curve, double v);

/* The curves of a block's frames, one each. */
typedef struct {
  double ceiling[PLANISH_GRID];
  double start[PLANISH_GRID];
  double width[PLANISH_GRID];
  double twelfth[PLANISH_GRID];
  double lowest; /* of all starts of the block */
  bool hard;     /* all of them */
} PlanishClipCurves;

/* The same curve for every frame of any block. */
void planish_clip_curves_fill(PlanishClipCurves *curves, const PlanishClipCurve *curve);

/* One curve for each of `frames` frames. */
void planish_clip_curves_take(PlanishClipCurves *curves, const PlanishClipCurve *each,
                              uint32_t frames);

static inline PlanishClipCurve planish_clip_curves_at(const PlanishClipCurves *curves,
                                                      uint32_t frame)
{
  return (PlanishClipCurve){.ceiling = curves->ceiling[frame],
                            .start = curves->start[frame],
                            .width = curves->width[frame],
                            .twelfth = curves->twelfth[frame]};
}

#endif
