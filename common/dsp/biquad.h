/* A second-order filter in double precision: direct form II transposed, a0 = 1.
 *
 *   y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]
 *
 * Coefficients and state are apart, so that channels share the coefficients. This form is for
 * coefficients that stand still or change seldom.
 *
 * Thread: one at a time a state. All functions are real-time safe. */
#ifndef PLANISH_DSP_BIQUAD_H
#define PLANISH_DSP_BIQUAD_H

typedef struct {
  double b0;
  double b1;
  double b2;
  double a1;
  double a2;
} PlanishBiquadCoefs;

/* The coefficients of a filter that passes everything as it is. */
#define PLANISH_BIQUAD_IDENTITY ((PlanishBiquadCoefs){1.0, 0.0, 0.0, 0.0, 0.0})

/* History of one channel. All zero is silence. */
typedef struct {
  double s1;
  double s2;
} PlanishBiquad;

static inline void planish_biquad_reset(PlanishBiquad *biquad)
{
  biquad->s1 = 0.0;
  biquad->s2 = 0.0;
}

static inline double planish_biquad_process(PlanishBiquad *biquad, const PlanishBiquadCoefs *coefs,
                                            double x)
{
  const double y = coefs->b0 * x + biquad->s1;
  biquad->s1 = coefs->b1 * x - coefs->a1 * y + biquad->s2;
  biquad->s2 = coefs->b2 * x - coefs->a2 * y;
  return y;
}

/* |H|^2 at `turns` cycles a frame (frequency / rate), 0..0.5. Accurate down to the lowest
 * frequencies, where the usual sum of cosines cancels. */
double planish_biquad_power(const PlanishBiquadCoefs *coefs, double turns);

#endif
