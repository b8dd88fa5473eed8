#include "harness/measure/spectrum.h"

#include <fftw3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double two_pi = 6.28318530717958647693;

struct PlanishSpectrum {
  size_t frames;
  double *signal;
  double complex *bins;
  fftw_plan forward;
  fftw_plan back;
};

double complex planish_spectrum_turn(double turns)
{
  const double angle = two_pi * fmod(turns, 1.0);
  return cos(angle) + (double complex)I * sin(angle);
}

double complex planish_spectrum_at(const float *x, size_t frames, double turns)
{
  double complex sum = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    sum += (double)x[n] * planish_spectrum_turn(-turns * (double)n);
  }
  return sum;
}

double planish_spectrum_line(const float *x, size_t frames, double turns)
{
  return 2.0 * cabs(planish_spectrum_at(x, frames, turns)) / (double)frames;
}

PlanishSpectrum *planish_spectrum_new(size_t frames)
{
  PlanishSpectrum *spectrum = calloc(1, sizeof *spectrum);
  if (spectrum == NULL) {
    return NULL;
  }
  spectrum->frames = frames;
  spectrum->signal = fftw_alloc_real(frames);
  spectrum->bins = fftw_alloc_complex(frames / 2 + 1);
  if (spectrum->signal != NULL && spectrum->bins != NULL) {
    spectrum->forward =
        fftw_plan_dft_r2c_1d((int)frames, spectrum->signal, spectrum->bins, FFTW_ESTIMATE);
    spectrum->back =
        fftw_plan_dft_c2r_1d((int)frames, spectrum->bins, spectrum->signal, FFTW_ESTIMATE);
  }
  if (spectrum->forward == NULL || spectrum->back == NULL) {
    planish_spectrum_free(spectrum);
    return NULL;
  }
  return spectrum;
}

void planish_spectrum_free(PlanishSpectrum *spectrum)
{
  if (spectrum == NULL) {
    return;
  }
  if (spectrum->forward != NULL) {
    fftw_destroy_plan(spectrum->forward);
  }
  if (spectrum->back != NULL) {
    fftw_destroy_plan(spectrum->back);
  }
  fftw_free(spectrum->signal);
  fftw_free(spectrum->bins);
  free(spectrum);
}

void planish_spectrum_forward(PlanishSpectrum *spectrum, const float *x, double complex *bins)
{
  for (size_t n = 0; n < spectrum->frames; ++n) {
    spectrum->signal[n] = (double)x[n];
  }
  fftw_execute(spectrum->forward);
  memcpy(bins, spectrum->bins, (spectrum->frames / 2 + 1) * sizeof *bins);
}

void planish_spectrum_back(PlanishSpectrum *spectrum, const double complex *bins, double *x)
{
  const double scale = 1.0 / (double)spectrum->frames;
  memcpy(spectrum->bins, bins, (spectrum->frames / 2 + 1) * sizeof *bins);
  fftw_execute(spectrum->back);
  for (size_t n = 0; n < spectrum->frames; ++n) {
    x[n] = scale * spectrum->signal[n];
  }
}
