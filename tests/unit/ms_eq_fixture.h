/* The mid/side equaliser under a driver, and spectra of what it does. */
#ifndef PLANISH_TESTS_MS_EQ_FIXTURE_H
#define PLANISH_TESTS_MS_EQ_FIXTURE_H

#include "common/dsp/eq_prototype.h"
#include "common/dsp/maths.h"
#include "tests/unit/stage_driver.h"
#include "ttl/ms_eq_ports.h"

#include <complex.h>
#include <fftw3.h>
#include <stdio.h>

enum { BANDS = 8, BAND_STRIDE = MS_EQ_B2_TYPE - MS_EQ_B1_TYPE };

typedef struct {
  int type;
  int channels;
  double frequency;
  double gain;
  double q;
  int order;
} Band;

/* `number` from 0. */
static inline void put_band(StageDriver *driver, int number, Band band)
{
  float *values = driver->values + (ptrdiff_t)number * BAND_STRIDE;
  values[MS_EQ_B1_TYPE] = (float)band.type;
  values[MS_EQ_B1_CHANNELS] = (float)band.channels;
  values[MS_EQ_B1_FREQ] = (float)band.frequency;
  values[MS_EQ_B1_GAIN] = (float)band.gain;
  values[MS_EQ_B1_Q] = (float)band.q;
  values[MS_EQ_B1_ORDER] = (float)band.order;
}

/* Of bands 0 to 3; in dB. */
static inline void put_move(StageDriver *driver, int number, double move, double threshold)
{
  float *values = driver->values + (ptrdiff_t)number * (MS_EQ_B2_MOVE - MS_EQ_B1_MOVE);
  values[MS_EQ_B1_MOVE] = (float)move;
  values[MS_EQ_B1_THRESHOLD] = (float)threshold;
}

/* Numerical Recipes' quick generator (W. H. Press et al.): 0..1, the same everywhere. */
static inline double uniform(uint32_t *seed)
{
  *seed = *seed * 1664525U + 1013904223U;
  return *seed / 4294967296.0;
}

/* Two channels of a test signal. */
typedef struct {
  double *channel[2];
  size_t length;
} Signal;

static inline Signal new_signal(size_t length)
{
  Signal signal = {{calloc(length, sizeof(double)), calloc(length, sizeof(double))}, length};
  assert_non_null(signal.channel[0]);
  assert_non_null(signal.channel[1]);
  return signal;
}

static inline void free_signal(Signal *signal)
{
  free(signal->channel[0]);
  free(signal->channel[1]);
}

static inline Signal noise(size_t length, uint32_t seed)
{
  Signal signal = new_signal(length);
  for (size_t n = 0; n < length; ++n) {
    signal.channel[0][n] = (double)(float)(uniform(&seed) - 0.5);
    signal.channel[1][n] = (double)(float)(uniform(&seed) - 0.5);
  }
  return signal;
}

static inline Signal sine(size_t length, double frequency, double rate)
{
  Signal signal = new_signal(length);
  for (size_t n = 0; n < length; ++n) {
    signal.channel[0][n] = sin(2.0 * PLANISH_PI * frequency * (double)n / rate);
    signal.channel[1][n] = signal.channel[0][n];
  }
  return signal;
}

/* Frames from..from+frames of the signal, in place. */
static inline void run(StageDriver *driver, Signal *signal, size_t from, size_t frames)
{
  double *const out[2] = {signal->channel[0] + from, signal->channel[1] + from};
  const double *const in[2] = {out[0], out[1]};
  stage_driver_run(driver, in, out, 2, frames);
}

/* Spectrum of `length` values, length/2 + 1 of them; free() it. */
static inline double complex *spectrum(const double *x, size_t length)
{
  double *copy = fftw_malloc(length * sizeof(double));
  double complex *bins = fftw_malloc((length / 2 + 1) * sizeof(double complex));
  fftw_plan plan = fftw_plan_dft_r2c_1d((int)length, copy, bins, FFTW_ESTIMATE);
  memcpy(copy, x, length * sizeof(double));
  fftw_execute(plan);
  fftw_destroy_plan(plan);
  fftw_free(copy);
  return bins;
}

/* Energy between two frequencies in dB re all of it, under a window of cos^8: its side lobes fall
 * by 54 dB an octave, so that a tone is below -300 dB 1 kHz away. */
static inline double energy_between(const double *x, size_t length, double low, double high,
                                    double rate)
{
  double *windowed = calloc(length, sizeof(double));
  assert_non_null(windowed);
  for (size_t n = 0; n < length; ++n) {
    windowed[n] = x[n] * pow(sin(PLANISH_PI * ((double)n + 0.5) / (double)length), 8.0);
  }
  double complex *bins = spectrum(windowed, length);
  double all = 0.0;
  double between = 0.0;
  for (size_t i = 0; i <= length / 2; ++i) {
    const double power = creal(bins[i] * conj(bins[i]));
    all += power;
    const double frequency = (double)i * rate / (double)length;
    between += frequency > low && frequency < high ? power : 0.0;
  }
  fftw_free(bins);
  free(windowed);
  return 10.0 * log10(between / all + 1e-40);
}

static inline double energy_above(const double *x, size_t length, double frequency, double rate)
{
  return energy_between(x, length, frequency, rate, rate);
}

#endif
