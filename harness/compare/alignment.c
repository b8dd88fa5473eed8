#include "harness/compare/alignment.h"

#include "common/dsp/maths.h"
#include "harness/measure/spectrum.h"

#include <stdlib.h>
#include <string.h>

#define RANGE_S      2.0
#define LONGEST      400000 /* frames of the range */
#define LARGEST_SIZE 1048576

/* Frames of correlation that the weights reach over: what they are made of is smoothed over this
 * part of the spectrum's bins. */
#define REACH 1024

/* What lies this far under the loudest part of the spectrum is not lifted to its level. */
#define FLOOR 1e-9 /* -90 dB */

/* On the way to the peak, in frames. */
#define LONGEST_STEP 0.25
#define LAST_STEP    1e-8
#define MOST_STEPS   16

struct PlanishAligner {
  size_t range;
  size_t size;   /* of a stretch, and of its spectra */
  size_t hop;    /* new frames of a stretch: size - 2 range */
  size_t filled; /* frames of a stretch */
  float *first[2];
  float *second[2]; /* by channel */
  float *masked;
  double complex *bins[2];
  double complex *cross[2]; /* by channel */
  double *correlation[2];   /* by channel; lag l at l, negative ones at size + l */
  double *spectra[2][2];    /* powers, [stream][channel], of what the cross-spectrum is made of */
  double *middles[2];       /* of the second, by channel, of its middles */
  double power[2][2];       /* sums of squares, likewise */
  PlanishSpectrum *spectrum;
};

size_t planish_aligner_range(double rate)
{
  return (size_t)fmin(RANGE_S * rate, LONGEST);
}

static bool allocate(PlanishAligner *aligner)
{
  const size_t bins = aligner->size / 2 + 1;
  bool done = true;
  for (int c = 0; c < 2; ++c) {
    aligner->first[c] = calloc(aligner->size, sizeof(float));
    aligner->second[c] = calloc(aligner->size, sizeof(float));
    aligner->bins[c] = calloc(bins, sizeof(double complex));
    aligner->cross[c] = calloc(bins, sizeof(double complex));
    aligner->correlation[c] = calloc(aligner->size, sizeof(double));
    aligner->spectra[0][c] = calloc(bins, sizeof(double));
    aligner->spectra[1][c] = calloc(bins, sizeof(double));
    aligner->middles[c] = calloc(bins, sizeof(double));
    done = done && aligner->first[c] != NULL && aligner->second[c] != NULL &&
           aligner->bins[c] != NULL && aligner->cross[c] != NULL &&
           aligner->correlation[c] != NULL && aligner->spectra[0][c] != NULL &&
           aligner->spectra[1][c] != NULL && aligner->middles[c] != NULL;
  }
  aligner->masked = calloc(aligner->size, sizeof(float));
  aligner->spectrum = planish_spectrum_new(aligner->size);
  return done && aligner->masked != NULL && aligner->spectrum != NULL;
}

PlanishAligner *planish_aligner_new(double rate)
{
  PlanishAligner *aligner = rate >= 8000.0 && rate <= 384000.0 ? calloc(1, sizeof *aligner) : NULL;
  if (aligner == NULL) {
    return NULL;
  }
  aligner->range = planish_aligner_range(rate);
  aligner->size = 2;
  while (aligner->size < 4 * aligner->range && aligner->size < LARGEST_SIZE) {
    aligner->size *= 2;
  }
  aligner->hop = aligner->size - 2 * aligner->range;
  /* Silence before the first frame. */
  aligner->filled = aligner->range;
  if (!allocate(aligner)) {
    planish_aligner_free(aligner);
    return NULL;
  }
  return aligner;
}

void planish_aligner_free(PlanishAligner *aligner)
{
  if (aligner == NULL) {
    return;
  }
  for (int c = 0; c < 2; ++c) {
    free(aligner->first[c]);
    free(aligner->second[c]);
    free(aligner->bins[c]);
    free(aligner->cross[c]);
    free(aligner->correlation[c]);
    free(aligner->spectra[0][c]);
    free(aligner->spectra[1][c]);
    free(aligner->middles[c]);
  }
  free(aligner->masked);
  planish_spectrum_free(aligner->spectrum);
  free(aligner);
}

static double square(double complex z)
{
  return creal(z) * creal(z) + cimag(z) * cimag(z);
}

/* The spectrum of a stretch's middle, of which every frame is in one stretch. */
static void take_middle(PlanishAligner *aligner, const float *stretch, double complex *bins)
{
  memcpy(aligner->masked + aligner->range, stretch + aligner->range, aligner->hop * sizeof(float));
  planish_spectrum_forward(aligner->spectrum, aligner->masked, bins);
}

/* The middle of the first against all of the second. */
static void take_stretch(PlanishAligner *aligner)
{
  for (int c = 0; c < 2; ++c) {
    take_middle(aligner, aligner->first[c], aligner->bins[0]);
    planish_spectrum_forward(aligner->spectrum, aligner->second[c], aligner->bins[1]);
    for (size_t k = 0; k <= aligner->size / 2; ++k) {
      aligner->cross[c][k] += conj(aligner->bins[0][k]) * aligner->bins[1][k];
      aligner->spectra[0][c][k] += square(aligner->bins[0][k]);
      aligner->spectra[1][c][k] += square(aligner->bins[1][k]);
    }
    take_middle(aligner, aligner->second[c], aligner->bins[1]);
    for (size_t k = 0; k <= aligner->size / 2; ++k) {
      aligner->middles[c][k] += square(aligner->bins[1][k]);
    }
    const size_t kept = aligner->size - aligner->hop;
    memmove(aligner->first[c], aligner->first[c] + aligner->hop, kept * sizeof(float));
    memmove(aligner->second[c], aligner->second[c] + aligner->hop, kept * sizeof(float));
  }
  aligner->filled -= aligner->hop;
}

static void take_frame(PlanishAligner *aligner, const float *first, const float *second)
{
  for (int c = 0; c < 2; ++c) {
    const double a = first == NULL ? 0.0 : (double)first[c];
    const double b = second == NULL ? 0.0 : (double)second[c];
    aligner->first[c][aligner->filled] = (float)a;
    aligner->second[c][aligner->filled] = (float)b;
    aligner->power[0][c] += a * a;
    aligner->power[1][c] += b * b;
  }
  aligner->filled += 1;
  if (aligner->filled == aligner->size) {
    take_stretch(aligner);
  }
}

void planish_aligner_process(PlanishAligner *aligner, const float *first, const float *second,
                             size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    take_frame(aligner, first + 2 * n, second + 2 * n);
  }
}

/* A channel's correlation at a lag. */
static double at_lag(const PlanishAligner *aligner, int channel, int64_t lag)
{
  return aligner->correlation[channel][lag < 0 ? lag + (int64_t)aligner->size : lag];
}

/* The lag at which both together are largest; of equals the one nearest to none. */
static int64_t find_peak(const PlanishAligner *aligner)
{
  const int64_t range = (int64_t)aligner->range;
  int64_t best = 0;
  double largest = 0.0;
  for (int64_t distance = 0; distance <= range; ++distance) {
    for (int sign = -1; sign <= 1; sign += 2) {
      const int64_t lag = sign * distance;
      const double sum = fabs(at_lag(aligner, 0, lag)) + fabs(at_lag(aligner, 1, lag));
      if (sum > largest) {
        largest = sum;
        best = lag;
      }
    }
  }
  return best;
}

/* The mean over the bins around each, in place; `room` holds as many. */
static void smooth(double *power, double *room, size_t bins, size_t width)
{
  double sum = 0.0;
  memcpy(room, power, bins * sizeof *power);
  for (size_t k = 0; k < bins + width; ++k) {
    sum += k < bins ? room[k] : 0.0;
    sum -= k > 2 * width && k - 2 * width - 1 < bins ? room[k - 2 * width - 1] : 0.0;
    if (k >= width) {
      power[k - width] = fmax(sum, 0.0) / (2.0 * (double)width + 1.0);
    }
  }
}

/* Brings all parts of the spectrum to one level: the low end, most of the power of music, tells
 * little of time, and is what equalisers move, and turn in phase. Gives what the correlation would
 * be of streams that differ by delay and factor alone. */
static double weigh(PlanishAligner *aligner, int channel)
{
  const size_t bins = aligner->size / 2 + 1;
  const size_t width = aligner->size / REACH / 2 + 1;
  double *first = aligner->spectra[0][channel];
  double *second = aligner->spectra[1][channel];
  double *middles = aligner->middles[channel];
  double most = 0.0;
  smooth(first, aligner->correlation[channel], bins, width);
  smooth(second, aligner->correlation[channel], bins, width);
  smooth(middles, aligner->correlation[channel], bins, width);
  for (size_t k = 0; k < bins; ++k) {
    middles[k] = sqrt(first[k]) * sqrt(middles[k]);
    first[k] = sqrt(first[k]) * sqrt(second[k]);
    most = fmax(most, first[k]);
  }
  double lit = 0.0;
  for (size_t k = 0; k < bins && most > 0.0; ++k) {
    aligner->cross[channel][k] /= first[k] + FLOOR * most;
    /* The whole stretches count the second's frames more than once, the cross-spectrum does not. */
    lit += middles[k] / (first[k] + FLOOR * most);
  }
  return 2.0 * lit / (double)aligner->size;
}

/* First and second derivative of both channels' correlation, the turned ones turned back, at a
 * place between the frames. */
typedef struct {
  double slope;
  double bend;
} Derivatives;

static Derivatives between(const PlanishAligner *aligner, const bool turned[2], double lag)
{
  Derivatives found = {0.0, 0.0};
  for (size_t k = 0; k < aligner->size / 2; ++k) {
    const double share = (double)k / (double)aligner->size;
    const double complex both = (turned[0] ? -1.0 : 1.0) * aligner->cross[0][k] +
                                (turned[1] ? -1.0 : 1.0) * aligner->cross[1][k];
    const double complex there = both * planish_spectrum_turn(lag * share);
    found.slope -= share * cimag(there);
    found.bend -= share * share * creal(there);
  }
  const double radians = 2.0 * PLANISH_PI;
  return (Derivatives){radians * found.slope, radians * radians * found.bend};
}

/* The place of the peak beside `lag`, in frames: Newton's method on the slope, in steps that a
 * narrow peak is not jumped over with. */
static double refine(const PlanishAligner *aligner, const bool turned[2], int64_t lag)
{
  double part = 0.0;
  double step = 1.0;
  for (int n = 0; n < MOST_STEPS && fabs(step) > LAST_STEP; ++n) {
    const Derivatives here = between(aligner, turned, (double)lag + part);
    if (here.slope == 0.0) {
      break;
    }
    step = here.bend < 0.0 ? planish_clamp(-here.slope / here.bend, -LONGEST_STEP, LONGEST_STEP)
                           : copysign(LONGEST_STEP, here.slope);
    part = planish_clamp(part + step, -1.0, 1.0);
  }
  return part;
}

/* The largest correlation of the cross-spectra as they stand, `most` for streams that differ by
 * delay and factor alone; the delay in whole frames. */
static PlanishAlignment look(PlanishAligner *aligner, double most)
{
  PlanishAlignment found = {0.0, {false, false}, 0.0};
  for (int c = 0; c < 2; ++c) {
    planish_spectrum_back(aligner->spectrum, aligner->cross[c], aligner->correlation[c]);
  }
  const int64_t lag = find_peak(aligner);
  double sum = 0.0;
  for (int c = 0; c < 2; ++c) {
    found.turned[c] = at_lag(aligner, c, lag) < 0.0;
    sum += fabs(at_lag(aligner, c, lag));
  }
  found.delay = (double)lag;
  found.correlation = planish_clamp(sum / most, 0.0, 1.0);
  return found;
}

PlanishAlignment planish_aligner_finish(PlanishAligner *aligner)
{
  for (size_t n = 0; n < aligner->size; ++n) {
    take_frame(aligner, NULL, NULL);
  }
  const size_t bytes = (aligner->size / 2 + 1) * sizeof(double complex);
  PlanishAlignment found = {0.0, {false, false}, 0.0};
  const double most = sqrt(aligner->power[0][0] * aligner->power[1][0]) +
                      sqrt(aligner->power[0][1] * aligner->power[1][1]);
  if (!(most > 0.0)) {
    return found;
  }
  double complex *plain[2] = {aligner->bins[0], aligner->bins[1]};
  double lit = 0.0;
  for (int c = 0; c < 2; ++c) {
    memcpy(plain[c], aligner->cross[c], bytes);
    lit += weigh(aligner, c);
  }
  found = look(aligner, lit);
  if (found.correlation < PLANISH_ALIGNMENT_UNRELATED) {
    /* Perhaps a narrow part alone is common to both. */
    for (int c = 0; c < 2; ++c) {
      memcpy(aligner->cross[c], plain[c], bytes);
    }
    found = look(aligner, most);
  }
  found.delay += refine(aligner, found.turned, (int64_t)found.delay);
  return found;
}
