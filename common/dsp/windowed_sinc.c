#include "common/dsp/windowed_sinc.h"

#include "common/dsp/maths.h"

/* Modified Bessel function of the first kind, order 0, by its power series. */
static double bessel_i0(double x)
{
  double sum = 1.0;
  double term = 1.0;
  for (int k = 1; term > 1e-18 * sum; ++k) {
    term *= (0.5 * x / k) * (0.5 * x / k);
    sum += term;
  }
  return sum;
}

double planish_windowed_sinc_at(const PlanishWindowedSinc *sinc, double t)
{
  const double beta = 0.1102 * (sinc->attenuation - 8.7); /* Kaiser 1974, for over 50 dB */
  const double place = t / sinc->half_length;
  if (fabs(place) >= 1.0) {
    return 0.0;
  }
  const double window = bessel_i0(beta * sqrt(1.0 - place * place)) / bessel_i0(beta);
  const double x = PLANISH_PI * sinc->cut * t;
  return window * sinc->cut * (fabs(x) < 1e-9 ? 1.0 : sin(x) / x);
}

double planish_scale_phase(double *phase, uint32_t taps, uint32_t stride, double wanted)
{
  double sum = 0.0;
  double magnitudes = 0.0;
  for (uint32_t k = 0; k < taps; ++k) {
    sum += phase[k * stride];
  }
  for (uint32_t k = 0; k < taps; ++k) {
    phase[k * stride] *= wanted / sum;
    magnitudes += fabs(phase[k * stride]);
  }
  return magnitudes;
}
