/* Sine, cosine and exponential that give the same bits on every processor, for coefficients that
 * are computed while audio runs. Beside maths.h, which says why libm will not do.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_TRIG_H
#define PLANISH_DSP_TRIG_H

#include "common/dsp/maths.h"

typedef struct {
  double sine;
  double cosine;
} PlanishSineCosine;

/* Sine and cosine of x in radians. Absolute error <= 3e-16 for |x| <= 100. */
static inline PlanishSineCosine planish_sine_cosine(double x)
{
  /* Adding 1.5 * 2^52 leaves the nearest whole number in the low bits. */
  const double shifted = x * (2.0 / PLANISH_PI) + 6755399441055744.0;
  const double quarters = shifted - 6755399441055744.0;
  /* pi/2 in two parts, the first of 33 bits, so that its multiples are exact. */
  const double y = (x - quarters * 1.57079632673412561417) - quarters * 6.07710050650619224932e-11;
  const double z = y * y; /* <= 0.617 */
  /* Taylor series; the first terms left out are under 5e-17 and 4e-18. */
  double s = -1.0 / 1307674368000.0;
  s = s * z + 1.0 / 6227020800.0;
  s = s * z - 1.0 / 39916800.0;
  s = s * z + 1.0 / 362880.0;
  s = s * z - 1.0 / 5040.0;
  s = s * z + 1.0 / 120.0;
  s = s * z - 1.0 / 6.0;
  s = y + y * z * s;
  double c = 1.0 / 20922789888000.0;
  c = c * z - 1.0 / 87178291200.0;
  c = c * z + 1.0 / 479001600.0;
  c = c * z - 1.0 / 3628800.0;
  c = c * z + 1.0 / 40320.0;
  c = c * z - 1.0 / 720.0;
  c = c * z + 1.0 / 24.0;
  c = c * z * z - 0.5 * z + 1.0;

  const int64_t quadrant = (int64_t)quarters & 3;
  const double sine = (quadrant & 1) != 0 ? c : s;
  const double cosine = (quadrant & 1) != 0 ? s : c;
  return (PlanishSineCosine){
      (quadrant & 2) != 0 ? -sine : sine,
      quadrant == 1 || quadrant == 2 ? -cosine : cosine,
  };
}

/* e^x. Relative error <= 4e-16 (1 + |x|) for |x| <= 690. */
static inline double planish_exp(double x)
{
  return planish_exp2(x * 1.44269504088896340736);
}

#endif
