/* The curve of a clipper, and what it takes away.
 *
 * The curve is odd: a straight line of slope 1 up to `start`, a parabola that meets the ceiling
 * with slope 0 at 2 ceiling - start, then the ceiling. With start = ceiling it clips hard. Value
 * and slope are continuous wherever the knee is not hard.
 *
 * What the curve takes away, v - curve(v), is called the excess here. Over the straight segment
 * between two samples its mean is (F(v1) - F(v0)) / (v1 - v0), F its antiderivative: first-order
 * antiderivative antialiasing (Parker, Zavalishin, Le Bivic, DAFx-16). Taken of the excess instead
 * of the curve, it leaves what is not clipped alone.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_CLIP_CURVE_H
#define PLANISH_DSP_CLIP_CURVE_H

#include <stdint.h>

#define PLANISH_CLIP_CURVE_MAX 16

typedef struct {
  double ceiling; /* > 0 */
  double start;   /* where the line ends; 0 < start <= ceiling */
  double width;   /* ceiling - start; 0: hard */
  double twelfth; /* 1 / (12 width), the antiderivative's factor in the knee; 0: hard */
} PlanishClipCurve;

/* Ceiling in dB re full scale; knee >= 0: how many dB under the ceiling the curve begins. */
PlanishClipCurve planish_clip_curve_of(double ceiling_db, double knee_db);

double planish_clip_curve_value(const PlanishClipCurve *curve, double v);

double planish_clip_curve_excess(const PlanishClipCurve *curve, double v);

/* The excess's antiderivative, even, 0 up to `start`. */
double planish_clip_curve_antiderivative(const PlanishClipCurve *curve, double v);

/* means[i]: the mean of the excess over the segment from fine[i-1] to fine[i]; fine[-1] is `last`.
 * Returns the largest magnitude among `last` and `fine` if it lies beyond `start`; else 0, all
 * means are 0, and `means` is not written. `count`: even, at most PLANISH_CLIP_CURVE_MAX. `means`
 * and `fine` must not overlap. */
double planish_clip_curve_means(const PlanishClipCurve *curve, double last, const double *fine,
                                double *means, uint32_t count);

#endif
