#include "common/dsp/fractional_delay.h"

#include "common/dsp/maths.h"
#include "common/dsp/toeplitz.h"

_Static_assert((int)PLANISH_FRACTIONAL_DELAY_MAX_TAPS <= (int)PLANISH_TOEPLITZ_MAX_SIZE,
               "a system");

/* The integral of cos(2 pi f t) over f from 0 to `edge`. */
static double band(double t, double edge)
{
  return t == 0.0 ? edge : sin(2.0 * PLANISH_PI * edge * t) / (2.0 * PLANISH_PI * t);
}

static double weighted(double t, PlanishDelayWeight weight)
{
  return (weight.times - 1.0) * band(t, weight.below) + band(t, 0.5);
}

void planish_fractional_delay_design(double *h, uint32_t taps, double fraction,
                                     PlanishDelayWeight weight)
{
  double row[PLANISH_FRACTIONAL_DELAY_MAX_TAPS] = {0};
  double side[PLANISH_FRACTIONAL_DELAY_MAX_TAPS] = {0};
  const double centre = 0.5 * taps - 1.0;
  for (uint32_t k = 0; k < taps; ++k) {
    row[k] = weighted((double)k, weight);
    side[k] = weighted((double)k - centre - fraction, weight);
  }
  planish_toeplitz_solve(row, side, h, taps);
  double sum = 0.0;
  for (uint32_t k = 0; k < taps; ++k) {
    sum += h[k];
  }
  for (uint32_t k = 0; k < taps; ++k) {
    h[k] /= sum;
  }
}
