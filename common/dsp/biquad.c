#include "common/dsp/biquad.h"

#include "common/dsp/maths.h"

/* |c0 + c1 z^-1 + c2 z^-2|^2 as a polynomial of sin^2(w/2). */
static double power_of(double c0, double c1, double c2, double sine_squared)
{
  const double sum = c0 + c1 + c2;
  const double linear = c0 * c1 + 4.0 * c0 * c2 + c1 * c2;
  return sum * sum + sine_squared * (16.0 * c0 * c2 * sine_squared - 4.0 * linear);
}

double planish_biquad_power(const PlanishBiquadCoefs *coefs, double turns)
{
  const double sine = sin(PLANISH_PI * turns);
  return power_of(coefs->b0, coefs->b1, coefs->b2, sine * sine) /
         power_of(1.0, coefs->a1, coefs->a2, sine * sine);
}
