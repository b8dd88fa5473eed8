#include "common/dsp/svf.h"

#include <math.h>

PlanishSvfCoefs planish_svf_coefs(const PlanishSvfPolynomial *numerator,
                                  const PlanishSvfPolynomial *denominator)
{
  /* With s put in, the polynomial of s^2 + k s + 1 has the sum 4 g^2 c, the alternating sum 4 c
   * and the edge 2 k g c, and that of the numerator the same with low, high and band. */
  const double root = sqrt(denominator->sum * denominator->alternating);
  const double k = 2.0 * denominator->edge / root;
  const double high = numerator->alternating / denominator->alternating;
  const double band = 2.0 * numerator->edge / root;
  const double low = numerator->sum / denominator->sum;
  return (PlanishSvfCoefs){
      .g = sqrt(denominator->sum / denominator->alternating),
      .k = k,
      .m0 = high,
      .m1 = band - high * k,
      .m2 = low - high,
  };
}

PlanishSvfCoefs planish_svf_from_biquad(const PlanishBiquadCoefs *biquad)
{
  const PlanishSvfPolynomial numerator = {
      biquad->b0 + biquad->b1 + biquad->b2,
      biquad->b0 - biquad->b1 + biquad->b2,
      biquad->b0 - biquad->b2,
  };
  const PlanishSvfPolynomial denominator = {
      1.0 + biquad->a1 + biquad->a2,
      1.0 - biquad->a1 + biquad->a2,
      1.0 - biquad->a2,
  };
  return planish_svf_coefs(&numerator, &denominator);
}

double planish_svf_power(const PlanishSvfCoefs *coefs, double half_sine_squared)
{
  /* s = j t / g with t = tan(w/2); numerator and denominator times (g cos(w/2))^2. */
  const double sine2 = half_sine_squared;
  const double cosine2 = 1.0 - sine2;
  const double g = coefs->g;
  const double high = coefs->m0;
  const double band = coefs->m1 + high * coefs->k;
  const double low = coefs->m2 + high;
  const double top = low * g * g * cosine2 - high * sine2;
  const double bottom = g * g * cosine2 - sine2;
  const double cross = g * g * sine2 * cosine2;
  return (top * top + band * band * cross) / (bottom * bottom + coefs->k * coefs->k * cross);
}

static inline PlanishTwo mix(const PlanishSvfCoefs *coefs, PlanishTwo x, PlanishSvfOutputs outputs)
{
  return planish_both(coefs->m0) * x + planish_both(coefs->m1) * outputs.band +
         planish_both(coefs->m2) * outputs.low;
}

void planish_svf_process(PlanishSvf *svf, const PlanishSvfCoefs *coefs, PlanishTwo *x,
                         unsigned frames)
{
  const PlanishSvfCoefs still = *coefs;
  const PlanishSvfSteps steps = planish_svf_steps(still.g, still.k);
  PlanishSvf state = *svf;
  for (unsigned n = 0; n < frames; ++n) {
    const PlanishSvfOutputs outputs = planish_svf_next(&state, steps, x[n]);
    x[n] = mix(&still, x[n], outputs);
  }
  *svf = state;
}

void planish_svf_process_moving(PlanishSvf *svf, PlanishSvfCoefs *coefs,
                                const PlanishSvfCoefs *change, PlanishTwo *x, unsigned frames)
{
  PlanishSvfCoefs now = *coefs;
  PlanishSvf state = *svf;
  for (unsigned n = 0; n < frames; ++n) {
    const PlanishSvfOutputs outputs =
        planish_svf_next(&state, planish_svf_steps(now.g, now.k), x[n]);
    x[n] = mix(&now, x[n], outputs);
    now.g += change->g;
    now.k += change->k;
    now.m0 += change->m0;
    now.m1 += change->m1;
    now.m2 += change->m2;
  }
  *svf = state;
  *coefs = now;
}
