/* The hyperbolic tangent, and the bound made of it: beside maths.h, which says why libm will not
 * do.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_TANH_H
#define PLANISH_DSP_TANH_H

#include "common/dsp/maths.h"

/* tanh(x). Absolute error <= 4e-16; never beyond +-1; odd; 0 at 0 exactly. x must not be NaN. */
static inline double planish_tanh(double x)
{
  const double e = planish_exp2(-2.0 * 1.44269504088896340736 * fabs(x)); /* e^(-2|x|) */
  const double t = (1.0 - e) / (1.0 + e);
  return x < 0.0 ? -t : t;
}

/* r tanh(v / r): v itself while it is small against the range r, never more than r, and with a
 * slope that changes nowhere at once. range >= 0; at 0 all is 0. */
static inline double planish_soft_bound(double v, double range)
{
  return range > 0.0 ? range * planish_tanh(v / range) : 0.0;
}

#endif
