/* The attack/sustain equaliser on whole signals: settings, mixes of which both parts are known, and
 * how far one signal lies from another, by frequency. */
#ifndef PLANISH_TESTS_ATTACK_SUSTAIN_FIXTURE_H
#define PLANISH_TESTS_ATTACK_SUSTAIN_FIXTURE_H

#include "tests/unit/whole_signals.h"
#include "ttl/attack_sustain_eq_ports.h"

#include <fftw3.h>
#include <math.h>

static const double PI = 3.14159265358979323846;

/* a + by * b. */
static inline Audio audio_mixed(const Audio *a, const Audio *b, double by)
{
  Audio mixed = audio_copy(a, 0);
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < a->frames; ++n) {
      mixed.channel[c][n] += by * b->channel[c][n];
    }
  }
  return mixed;
}

static inline double audio_power(const Audio *a)
{
  double sum = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < a->frames; ++n) {
      sum += a->channel[c][n] * a->channel[c][n];
    }
  }
  return sum / (double)a->frames;
}

static inline double decibels(double power)
{
  return 10.0 * log10(power + 1e-30);
}

enum { SIGNALS = 3, FRAME = 16384 };

/* Inner products of three signals, both channels, from a frequency on: Hann windows of FRAME, half
 * over one another, after the first second. */
typedef struct {
  double of[SIGNALS][SIGNALS];
} Products;

static inline Products products_of(const Audio *const signals[SIGNALS], double from_hz)
{
  static double bins[SIGNALS][FRAME + 2];
  static double x[FRAME];
  Products products = {{{0.0}}};
  fftw_complex *const out = fftw_malloc((FRAME / 2 + 1) * sizeof *out);
  fftw_plan plan = fftw_plan_dft_r2c_1d(FRAME, x, out, FFTW_ESTIMATE);
  const double rate = signals[0]->rate;
  const uint32_t low = (uint32_t)(from_hz * FRAME / rate);
  for (int c = 0; c < 2; ++c) {
    for (size_t at = (size_t)rate; at + FRAME <= signals[0]->frames; at += FRAME / 2) {
      for (int s = 0; s < SIGNALS; ++s) {
        for (uint32_t n = 0; n < FRAME; ++n) {
          x[n] = signals[s]->channel[c][at + n] * (0.5 - 0.5 * cos(2.0 * PI * n / FRAME));
        }
        fftw_execute(plan);
        memcpy(bins[s], out, sizeof bins[s]);
      }
      for (int i = 0; i < SIGNALS * SIGNALS; ++i) {
        const double *const a = bins[i / SIGNALS];
        const double *const b = bins[i % SIGNALS];
        for (uint32_t k = 2 * low; k < FRAME + 2; ++k) {
          products.of[i / SIGNALS][i % SIGNALS] += a[k] * b[k];
        }
      }
    }
  }
  fftw_destroy_plan(plan);
  fftw_free(out);
  return products;
}

/* Of an estimate against what it should be and what it should not hold, by projection on both
 * (after Vincent, Gribonval, Fevotte 2006, from memory), dB. */
typedef struct {
  double distortion;   /* SDR */
  double interference; /* SIR */
} Apart;

static inline Apart apart(const Audio *estimate, const Audio *target, const Audio *other,
                          double from_hz)
{
  const Products p = products_of((const Audio *const[]){estimate, target, other}, from_hz);
  const double tt = p.of[1][1];
  const double oo = p.of[2][2];
  const double to = p.of[1][2];
  const double et = p.of[0][1];
  const double eo = p.of[0][2];
  const double whole = tt * oo - to * to;
  const double projected = (et * oo - eo * to) / whole * et + (eo * tt - et * to) / whole * eo;
  const double on_target = et * et / tt;
  return (Apart){decibels(on_target / (p.of[0][0] - on_target)),
                 decibels(on_target / (projected - on_target))};
}

/* Distance of `result` from `truth` re the distance of `before` from `truth`, dB. */
static inline double error_of(const Audio *result, const Audio *truth, const Audio *before,
                              double from_hz)
{
  const Products p = products_of((const Audio *const[]){result, truth, before}, from_hz);
  const double off = p.of[0][0] - 2.0 * p.of[0][1] + p.of[1][1];
  const double made = p.of[2][2] - 2.0 * p.of[2][1] + p.of[1][1];
  return decibels(off / made);
}

static inline bool stem_read(Audio *audio, const char *name, int seed)
{
  char within[64];
  char path[1024];
  *audio = (Audio){0};
  snprintf(within, sizeof within, "stems/%s-%d.flac", name, seed);
  shared_path(path, sizeof path, within);
  return audio_add(audio, path);
}

/* How far the powers of short spectra lie apart along time, second over squared first moment, mean
 * of bins from 500 Hz to 10 kHz (the first channel): 2 for noise, more for musical noise. */
static inline double kurtosis(const Audio *audio)
{
  enum { LENGTH = 1024, HOP = 256 };
  static double fourth[LENGTH / 2 + 1];
  static double second[LENGTH / 2 + 1];
  static double x[LENGTH];
  fftw_complex *const bins = fftw_malloc((LENGTH / 2 + 1) * sizeof *bins);
  fftw_plan plan = fftw_plan_dft_r2c_1d(LENGTH, x, bins, FFTW_ESTIMATE);
  memset(fourth, 0, sizeof fourth);
  memset(second, 0, sizeof second);
  double count = 0.0;
  for (size_t at = (size_t)audio->rate; at + LENGTH <= audio->frames; at += HOP) {
    for (uint32_t n = 0; n < LENGTH; ++n) {
      x[n] = audio->channel[0][at + n] * (0.5 - 0.5 * cos(2.0 * PI * n / LENGTH));
    }
    fftw_execute(plan);
    for (uint32_t k = 0; k <= LENGTH / 2; ++k) {
      const double power = ((const double *)bins)[2 * k] * ((const double *)bins)[2 * k] +
                           ((const double *)bins)[2 * k + 1] * ((const double *)bins)[2 * k + 1];
      second[k] += power;
      fourth[k] += power * power;
    }
    count += 1.0;
  }
  double sum = 0.0;
  const uint32_t low = (uint32_t)(500.0 * LENGTH / audio->rate);
  const uint32_t high = (uint32_t)(10000.0 * LENGTH / audio->rate);
  for (uint32_t k = low; k < high; ++k) {
    sum += fourth[k] * count / (second[k] * second[k]);
  }
  fftw_destroy_plan(plan);
  fftw_free(bins);
  return sum / (high - low);
}

#endif
