/* The resonance stage on whole signals: making them, running it over them, and looking at what it
 * did by long-term spectra. */
#ifndef PLANISH_TESTS_RESONANCE_FIXTURE_H
#define PLANISH_TESTS_RESONANCE_FIXTURE_H

#include "tests/unit/whole_signals.h"
#include "ttl/resonance_ports.h"

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

/* A bell of the audio EQ cookbook (R. Bristow-Johnson) over both channels. */
static inline void ring(Audio *audio, double hz, double gain_db, double q)
{
  const double a = pow(10.0, gain_db / 40.0);
  const double w = 2.0 * PI * hz / audio->rate;
  const double alpha = sin(w) / (2.0 * q);
  const double c = -2.0 * cos(w);
  const double norm = 1.0 + alpha / a;
  for (int ch = 0; ch < 2; ++ch) {
    double s1 = 0.0;
    double s2 = 0.0;
    for (size_t n = 0; n < audio->frames; ++n) {
      const double x = audio->channel[ch][n];
      const double y = (1.0 + alpha * a) / norm * x + s1;
      s1 = c / norm * x - c / norm * y + s2;
      s2 = (1.0 - alpha * a) / norm * x - (1.0 - alpha / a) / norm * y;
      audio->channel[ch][n] = y;
    }
  }
}

/* Treats the side alone, as the frame does with channels on side. */
static inline Audio treated_side(const Audio *in, const Setting *settings, size_t count)
{
  Audio side = audio_copy(in, 0);
  for (size_t n = 0; n < in->frames; ++n) {
    side.channel[0][n] = 0.5 * (in->channel[0][n] - in->channel[1][n]);
    side.channel[1][n] = 0.0;
  }
  Audio out = treated(&side, settings, count);
  audio_free(&side);
  return out;
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

/* The mix of stems with the guitars that ring in place of the clean ones. */
static inline bool ringing_read(Audio *mix, int seed)
{
  return stems_read_with(mix, seed, "guitars-ringing");
}

#endif
