/* Judges true peaks: 32 times reconstruction of a whole signal by FFT, the ideal interpolation but
 * for the signal's ends. Nothing here is shared with the detectors that it judges.
 *
 * The signal is padded with silence and shifted by k/32 of a frame, k = 0..31, in the frequency
 * domain: the same points as zero padding the spectrum 32 times, in less memory. */
#ifndef PLANISH_TESTS_RECONSTRUCT_H
#define PLANISH_TESTS_RECONSTRUCT_H

#include "common/dsp/maths.h"

#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RECONSTRUCT_TIMES = 32, RECONSTRUCT_PADDING = 2048 };

typedef struct {
  size_t length; /* padded, even */
  double *signal;
  fftw_complex *spectrum;
  fftw_plan forward;
  fftw_plan backward;
} Reconstruction;

/* The next length that FFTs like: 2^a 3^b 5^c, even. */
static inline size_t reconstruct_length(size_t at_least)
{
  for (size_t length = at_least + at_least % 2;; length += 2) {
    size_t rest = length;
    for (size_t factor = 2; factor <= 5; ++factor) {
      while (rest % factor == 0) {
        rest /= factor;
      }
    }
    if (rest == 1) {
      return length;
    }
  }
}

/* Room and plans for signals of `frames`. */
static inline Reconstruction reconstruct_new(size_t frames)
{
  Reconstruction r = {.length = reconstruct_length(frames + RECONSTRUCT_PADDING)};
  r.signal = fftw_malloc(r.length * sizeof(double));
  r.spectrum = fftw_malloc((r.length / 2 + 1) * sizeof(fftw_complex));
  const int length = (int)r.length;
  r.forward = fftw_plan_dft_r2c_1d(length, r.signal, r.spectrum, FFTW_ESTIMATE);
  r.backward = fftw_plan_dft_c2r_1d(length, r.spectrum, r.signal, FFTW_ESTIMATE);
  return r;
}

static inline void reconstruct_free(Reconstruction *r)
{
  fftw_destroy_plan(r->forward);
  fftw_destroy_plan(r->backward);
  fftw_free(r->signal);
  fftw_free(r->spectrum);
}

static inline void reconstruct_forward(Reconstruction *r, const double *x, size_t frames)
{
  memset(r->signal, 0, r->length * sizeof(double));
  memcpy(r->signal, x, frames * sizeof(double));
  fftw_execute(r->forward);
}

/* peaks[n]: the largest magnitude from half a frame before frame n to half a frame after it. */
static inline void reconstruct_frame_peaks(const double *x, size_t frames, double *peaks)
{
  Reconstruction r = reconstruct_new(frames);
  const size_t bins = r.length / 2 + 1;
  fftw_complex *kept = fftw_malloc(bins * sizeof(fftw_complex));
  reconstruct_forward(&r, x, frames);
  memcpy(kept, r.spectrum, bins * sizeof(fftw_complex));
  memset(peaks, 0, frames * sizeof(double));
  for (int k = 0; k < RECONSTRUCT_TIMES; ++k) {
    const double step = 2.0 * PLANISH_PI * k / RECONSTRUCT_TIMES / (double)r.length;
    for (size_t bin = 0; bin < bins; ++bin) {
      const double angle = step * (double)bin;
      r.spectrum[bin] = kept[bin] * cexp((double complex)I * angle) / (double)r.length;
    }
    fftw_execute(r.backward);
    for (size_t n = 0; n < frames; ++n) {
      const double magnitude = fabs(r.signal[n]);
      if (2 * k <= RECONSTRUCT_TIMES) {
        peaks[n] = fmax(peaks[n], magnitude);
      }
      if (2 * k >= RECONSTRUCT_TIMES && n + 1 < frames) {
        peaks[n + 1] = fmax(peaks[n + 1], magnitude);
      }
    }
  }
  fftw_free(kept);
  reconstruct_free(&r);
}

/* True peak of a whole signal, dBTP. */
static inline double reconstruct_peak_db(const double *x, size_t frames)
{
  double *peaks = malloc((frames + 1) * sizeof(double));
  double largest = 0.0;
  reconstruct_frame_peaks(x, frames, peaks);
  for (size_t n = 0; n < frames; ++n) {
    largest = fmax(largest, peaks[n]);
  }
  free(peaks);
  return 20.0 * log10(fmax(largest, 1e-30));
}

/* Takes out what lies above `top` Hz, with a raised-cosine edge 500 Hz wide below it. The signal
 * should begin and end in silence. */
static inline void reconstruct_band_limit(double *x, size_t frames, double rate, double top)
{
  Reconstruction r = reconstruct_new(frames);
  const double width = 500.0;
  reconstruct_forward(&r, x, frames);
  for (size_t bin = 0; bin <= r.length / 2; ++bin) {
    const double hz = (double)bin * rate / (double)r.length;
    const double place = fmin(1.0, fmax(0.0, (top - hz) / width));
    r.spectrum[bin] *= (0.5 - 0.5 * cos(PLANISH_PI * place)) / (double)r.length;
  }
  fftw_execute(r.backward);
  memcpy(x, r.signal, frames * sizeof(double));
  reconstruct_free(&r);
}

#endif
