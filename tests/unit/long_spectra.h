/* Long-term spectra of whole signals, what changed between two, and noise to look at. */
#ifndef PLANISH_TESTS_LONG_SPECTRA_H
#define PLANISH_TESTS_LONG_SPECTRA_H

#include "tests/unit/whole_signals.h"

#include <fftw3.h>
#include <math.h>
#include <stdio.h>

/* Real and imaginary part: FFTW's own type depends on what was included before it. */
typedef double Bin[2];

static const double PI = 3.14159265358979323846;

/* Noise of equal power in every octave, the same in neither channel, 24 s at 48 kHz. */
static inline Audio pink_noise(uint32_t seed)
{
  enum { LENGTH = 1 << 20 };
  Audio audio = {.frames = LENGTH, .rate = 48000.0};
  Bin *const bins = fftw_malloc((LENGTH / 2 + 1) * sizeof *bins);
  double *const x = fftw_malloc(LENGTH * sizeof *x);
  fftw_plan plan = fftw_plan_dft_c2r_1d(LENGTH, (fftw_complex *)bins, x, FFTW_ESTIMATE);
  for (int c = 0; c < 2; ++c) {
    for (uint32_t k = 0; k <= LENGTH / 2; ++k) {
      const double level = k < 200 ? 0.0 : 1.0 / sqrt(k);
      seed = seed * 1664525U + 1013904223U;
      const double turn = 2.0 * PI * seed / 4294967296.0;
      bins[k][0] = level * cos(turn);
      bins[k][1] = level * sin(turn);
    }
    fftw_execute(plan);
    audio.channel[c] = malloc(LENGTH * sizeof(double));
    for (uint32_t n = 0; n < LENGTH; ++n) {
      audio.channel[c][n] = 0.02 * x[n];
    }
  }
  fftw_destroy_plan(plan);
  fftw_free(bins);
  fftw_free(x);
  return audio;
}

/* Mean power spectrum of both channels from a frame on: Hann windows of LOOK frames, half over one
 * another. */
enum { LOOK = 16384, LOOK_BINS = LOOK / 2 + 1 };

static inline void spectrum_of(const Audio *audio, double from_second, double *power)
{
  double *const x = fftw_malloc(LOOK * sizeof *x);
  Bin *const bins = fftw_malloc(LOOK_BINS * sizeof *bins);
  fftw_plan plan = fftw_plan_dft_r2c_1d(LOOK, x, (fftw_complex *)bins, FFTW_ESTIMATE);
  memset(power, 0, LOOK_BINS * sizeof *power);
  for (int c = 0; c < 2; ++c) {
    for (size_t at = (size_t)(from_second * audio->rate); at + LOOK <= audio->frames;
         at += LOOK / 2) {
      for (uint32_t n = 0; n < LOOK; ++n) {
        x[n] = audio->channel[c][at + n] * (0.5 - 0.5 * cos(2.0 * PI * n / LOOK));
      }
      fftw_execute(plan);
      for (uint32_t k = 0; k < LOOK_BINS; ++k) {
        power[k] += bins[k][0] * bins[k][0] + bins[k][1] * bins[k][1];
      }
    }
  }
  fftw_destroy_plan(plan);
  fftw_free(x);
  fftw_free(bins);
}

/* Mean power of a band of `octaves` around hz, by bins with fractional edges. */
static inline double band_power(const double *power, double rate, double hz, double octaves)
{
  const double low = hz * exp2(-0.5 * octaves) * LOOK / rate + 0.5;
  const double high = hz * exp2(0.5 * octaves) * LOOK / rate + 0.5;
  double sum = 0.0;
  for (uint32_t k = (uint32_t)low; k < LOOK_BINS && k < high; ++k) {
    const double part = fmin(high, k + 1.0) - fmax(low, k);
    sum += power[k] * part;
  }
  return sum / (high - low);
}

/* How far a band of `a` stands over that of `b`, dB. */
static inline double over(const double *a, const double *b, double rate, double hz, double octaves)
{
  return 10.0 * log10(band_power(a, rate, hz, octaves) / band_power(b, rate, hz, octaves));
}

typedef struct {
  double rms;    /* dB over bands of 1/24 octave */
  double lowest; /* the same */
  double highest;
  double lowest_third; /* over bands of a third of an octave */
} Change;

/* From 100 Hz to 16 kHz, but for what lies within a quarter of an octave of `without` (0: all). */
static inline Change change_between(const double *after, const double *before, double rate,
                                    double without)
{
  Change change = {0.0, 0.0, 0.0, 0.0};
  int count = 0;
  for (double hz = 100.0; hz <= 16000.0; hz *= exp2(1.0 / 24.0)) {
    if (without > 0.0 && fabs(log2(hz / without)) < 0.25) {
      continue;
    }
    const double db = over(after, before, rate, hz, 1.0 / 24.0);
    const double third = over(after, before, rate, hz, 1.0 / 3.0);
    change.rms += db * db;
    change.lowest = fmin(change.lowest, db);
    change.highest = fmax(change.highest, db);
    change.lowest_third = fmin(change.lowest_third, third);
    ++count;
  }
  change.rms = sqrt(change.rms / count);
  return change;
}

#endif
