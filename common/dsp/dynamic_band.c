#include "common/dsp/dynamic_band.h"

#include "common/dsp/maths.h"

void planish_dynamic_band_start(PlanishDynamicBand *band, PlanishBandType type, PlanishTwo x)
{
  *band = (PlanishDynamicBand){.type = type};
  band->svf.s2 = x;
  band->m0 = planish_both(1.0);
}

/* A = 10^(dB/40), once where both lanes agree. */
static PlanishTwo roots_of_gain(PlanishTwo gain)
{
  const double first = planish_gain_of(0.5 * gain[0]);
  return (PlanishTwo){first, gain[1] == gain[0] ? first : planish_gain_of(0.5 * gain[1])};
}

static PlanishTwo square_roots(PlanishTwo a)
{
  return (PlanishTwo){sqrt(a[0]), sqrt(a[1])};
}

/* Trapezoidal forms of the cookbook's prototypes: damping and frequency carry what A does to the
 * poles, the mix what it does to the zeros. */
static void design(PlanishDynamicBand *band, PlanishTwo gain, double tangent, double q)
{
  const PlanishTwo one = planish_both(1.0);
  const PlanishTwo a = roots_of_gain(gain);
  PlanishTwo g = planish_both(tangent);
  PlanishTwo k = planish_both(1.0 / q);
  switch (band->type) {
  case PLANISH_BAND_LOW_SHELF:
    g /= square_roots(a);
    band->m0 = one;
    band->m1 = k * (a - one);
    band->m2 = a * a - one;
    break;
  case PLANISH_BAND_HIGH_SHELF:
    g *= square_roots(a);
    band->m0 = a * a;
    band->m1 = k * (one - a) * a;
    band->m2 = one - a * a;
    break;
  case PLANISH_BAND_PEAKING:
    k /= a;
    band->m0 = one;
    band->m1 = k * (a * a - one);
    band->m2 = planish_both(0.0);
    break;
  case PLANISH_BAND_FULL:
    band->m0 = a * a;
    break;
  }
  band->a1 = one / (one + g * (g + k));
  band->a2 = g * band->a1;
  band->a3 = g * band->a2;
  band->gain = gain;
  band->tangent = tangent;
  band->q = q;
}

PlanishTwo planish_dynamic_band_next(PlanishDynamicBand *band, PlanishTwo gain, double tangent,
                                     double q, PlanishTwo x)
{
  if (gain[0] != band->gain[0] || gain[1] != band->gain[1] || tangent != band->tangent ||
      q != band->q) {
    design(band, gain, tangent, q);
  }
  if (band->type == PLANISH_BAND_FULL) {
    return band->m0 * x;
  }
  PlanishSvf *svf = &band->svf;
  const PlanishTwo v = x - svf->s2;
  const PlanishTwo middle = band->a1 * svf->s1 + band->a2 * v;
  const PlanishTwo low = svf->s2 + band->a2 * svf->s1 + band->a3 * v;
  svf->s1 = planish_both(2.0) * middle - svf->s1;
  svf->s2 = planish_both(2.0) * low - svf->s2;
  return band->m0 * x + band->m1 * middle + band->m2 * low;
}
