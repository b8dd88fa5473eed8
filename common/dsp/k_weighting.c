#include "common/dsp/k_weighting.h"

#include "common/dsp/maths.h"

/* The analog prototypes behind Tables 1 and 2 of ITU-R BS.1770-4 Annex 1, as libebur128 1.2.6
 * states them; they give the tables back to 1e-15. */
#define SHELF_HZ          1681.974450955533
#define SHELF_DB          3.999843853973347
#define SHELF_Q           0.7071752369554196
#define SHELF_MIDDLE      0.4996667741545416 /* exponent of the gain where the shelf turns */
#define HIGH_PASS_HZ      38.13547087602444
#define HIGH_PASS_Q       0.5003270373238773
#define RATE_OF_TABLES_HZ 48000.0

static double denominator(double k, double q)
{
  return 1.0 + k / q + k * k;
}

static PlanishBiquadCoefs shelf(double rate)
{
  const double k = tan(PLANISH_PI * SHELF_HZ / rate);
  const double high = pow(10.0, SHELF_DB / 20.0);
  const double middle = pow(high, SHELF_MIDDLE);
  const double d = denominator(k, SHELF_Q);
  return (PlanishBiquadCoefs){
      .b0 = (high + middle * k / SHELF_Q + k * k) / d,
      .b1 = 2.0 * (k * k - high) / d,
      .b2 = (high - middle * k / SHELF_Q + k * k) / d,
      .a1 = 2.0 * (k * k - 1.0) / d,
      .a2 = (1.0 - k / SHELF_Q + k * k) / d,
  };
}

static PlanishBiquadCoefs high_pass(double rate)
{
  const double k = tan(PLANISH_PI * HIGH_PASS_HZ / rate);
  const double d = denominator(k, HIGH_PASS_Q);
  /* Table 2 leaves b undivided: its level, 0.043 dB, belongs to the response at 48 kHz. */
  const double level =
      denominator(tan(PLANISH_PI * HIGH_PASS_HZ / RATE_OF_TABLES_HZ), HIGH_PASS_Q) / d;
  return (PlanishBiquadCoefs){
      .b0 = level,
      .b1 = -2.0 * level,
      .b2 = level,
      .a1 = 2.0 * (k * k - 1.0) / d,
      .a2 = (1.0 - k / HIGH_PASS_Q + k * k) / d,
  };
}

PlanishKWeightingCoefs planish_k_weighting_design(double rate)
{
  return (PlanishKWeightingCoefs){.shelf = shelf(rate), .high_pass = high_pass(rate)};
}

double planish_k_weighting_power(const PlanishKWeightingCoefs *coefs, double turns)
{
  return planish_biquad_power(&coefs->shelf, turns) *
         planish_biquad_power(&coefs->high_pass, turns);
}
