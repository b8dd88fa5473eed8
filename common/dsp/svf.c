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

/* The same filter with all constants worked out ahead: the new states straight from the old ones,
 * so that a frame waits for the one before through fewer operations, and the mix likewise. */
typedef struct {
  PlanishTwo s1_of_s1;
  PlanishTwo of_both; /* the band of v and the low of s1, twice */
  PlanishTwo s2_of_v;
  PlanishTwo y_of_x;
  PlanishTwo y_of_s1;
  PlanishTwo y_of_v;
  PlanishTwo y_of_s2;
} Still;

static inline Still still_of(const PlanishSvfCoefs *coefs)
{
  const PlanishSvfSteps steps = planish_svf_steps(coefs->g, coefs->k);
  return (Still){
      .s1_of_s1 = planish_both(2.0 * steps.a1 - 1.0),
      .of_both = planish_both(2.0 * steps.a2),
      .s2_of_v = planish_both(2.0 * steps.a3),
      .y_of_x = planish_both(coefs->m0),
      .y_of_s1 = planish_both(coefs->m1 * steps.a1 + coefs->m2 * steps.a2),
      .y_of_v = planish_both(coefs->m1 * steps.a2 + coefs->m2 * steps.a3),
      .y_of_s2 = planish_both(coefs->m2),
  };
}

static inline PlanishTwo next(const Still *still, PlanishTwo *s1, PlanishTwo *s2, PlanishTwo x)
{
  const PlanishTwo v = x - *s2;
  const PlanishTwo y =
      still->y_of_x * x + (still->y_of_s1 * *s1 + (still->y_of_s2 * *s2 + still->y_of_v * v));
  *s2 = (*s2 + still->of_both * *s1) + still->s2_of_v * v;
  *s1 = still->s1_of_s1 * *s1 + still->of_both * v;
  return y;
}

void planish_svf_process(PlanishSvf *svf, const PlanishSvfCoefs *coefs, PlanishTwo *x,
                         unsigned frames)
{
  const Still still = still_of(coefs);
  PlanishTwo s1 = svf->s1;
  PlanishTwo s2 = svf->s2;
  for (unsigned n = 0; n < frames; ++n) {
    x[n] = next(&still, &s1, &s2, x[n]);
  }
  *svf = (PlanishSvf){s1, s2};
}

void planish_svf_process_moving(PlanishSvf *svf, PlanishSvfCoefs *coefs,
                                const PlanishSvfCoefs *change, PlanishTwo *x, unsigned frames)
{
  PlanishSvfCoefs now = *coefs;
  PlanishTwo s1 = svf->s1;
  PlanishTwo s2 = svf->s2;
  for (unsigned n = 0; n < frames; ++n) {
    const Still still = still_of(&now);
    x[n] = next(&still, &s1, &s2, x[n]);
    now.g += change->g;
    now.k += change->k;
    now.m0 += change->m0;
    now.m1 += change->m1;
    now.m2 += change->m2;
  }
  *svf = (PlanishSvf){s1, s2};
  *coefs = now;
}
