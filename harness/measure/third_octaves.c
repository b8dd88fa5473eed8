#include "harness/measure/third_octaves.h"

#include "harness/measure/spectrum.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define MIN_RATE   8000.0
#define MAX_RATE   384000.0
#define WIDEST_BIN 0.75 /* Hz */
#define OVERLAP    4    /* windows that hold each frame */

/* Squares of Hann windows a quarter apart add up to this. */
#define WINDOWS_SUM 1.5

#define FIRST_EXPONENT (-17) /* of 10^(1/10), re 1 kHz: 20 Hz */

static const double pi = 3.14159265358979323846;

struct PlanishThirdOctaves {
  double rate;
  size_t frames; /* of a window */
  size_t filled; /* of `past` */
  uint64_t total;
  float *past; /* the window's frames, interleaved */
  float *window;
  float *windowed;
  double complex *left;
  double complex *right;
  PlanishSpectrum *spectrum;
  size_t bands;
  double power[PLANISH_THIRD_OCTAVES_MAX][PLANISH_BAND_CHANNELS];
};

double planish_third_octave_centre(size_t band)
{
  return 1000.0 * pow(10.0, ((double)band + FIRST_EXPONENT) / 10.0);
}

double planish_third_octave_nominal(size_t band)
{
  static const double decade[] = {20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0};
  const size_t decades = band / 10;
  return decade[band % 10] * pow(10.0, (double)decades);
}

size_t planish_third_octave_count(double rate)
{
  const double edge = pow(10.0, 0.05);
  size_t count = 0;
  while (count < PLANISH_THIRD_OCTAVES_MAX &&
         planish_third_octave_centre(count) / edge < rate / 2.0) {
    count += 1;
  }
  return count;
}

static bool allocate(PlanishThirdOctaves *octaves)
{
  const size_t bins = octaves->frames / 2 + 1;
  octaves->past = calloc(2 * octaves->frames, sizeof(float));
  octaves->window = calloc(octaves->frames, sizeof(float));
  octaves->windowed = calloc(octaves->frames, sizeof(float));
  octaves->left = calloc(bins, sizeof(double complex));
  octaves->right = calloc(bins, sizeof(double complex));
  octaves->spectrum = planish_spectrum_new(octaves->frames);
  return octaves->past != NULL && octaves->window != NULL && octaves->windowed != NULL &&
         octaves->left != NULL && octaves->right != NULL && octaves->spectrum != NULL;
}

PlanishThirdOctaves *planish_third_octaves_new(double rate)
{
  PlanishThirdOctaves *octaves =
      rate >= MIN_RATE && rate <= MAX_RATE ? calloc(1, sizeof *octaves) : NULL;
  if (octaves == NULL) {
    return NULL;
  }
  octaves->rate = rate;
  octaves->bands = planish_third_octave_count(rate);
  octaves->frames = OVERLAP;
  while (rate / (double)octaves->frames > WIDEST_BIN) {
    octaves->frames *= 2;
  }
  if (!allocate(octaves)) {
    planish_third_octaves_free(octaves);
    return NULL;
  }
  for (size_t n = 0; n < octaves->frames; ++n) {
    octaves->window[n] =
        (float)(0.5 - 0.5 * cos(2.0 * pi * ((double)n + 0.5) / (double)octaves->frames));
  }
  /* Silence before the file, so that its first frames stand in as many windows as any. */
  octaves->filled = octaves->frames - octaves->frames / OVERLAP;
  return octaves;
}

void planish_third_octaves_free(PlanishThirdOctaves *octaves)
{
  if (octaves != NULL) {
    planish_spectrum_free(octaves->spectrum);
    free(octaves->past);
    free(octaves->window);
    free(octaves->windowed);
    free(octaves->left);
    free(octaves->right);
    free(octaves);
  }
}

static void transform(PlanishThirdOctaves *octaves, size_t channel, double complex *bins)
{
  for (size_t n = 0; n < octaves->frames; ++n) {
    octaves->windowed[n] = octaves->window[n] * octaves->past[2 * n + channel];
  }
  planish_spectrum_forward(octaves->spectrum, octaves->windowed, bins);
}

static double square(double complex z)
{
  return creal(z) * creal(z) + cimag(z) * cimag(z);
}

/* A bin stands for the frequencies half a bin around it; `share` of it is the band's. */
static void add_bin(PlanishThirdOctaves *octaves, size_t k, double share, double *power)
{
  /* All bins but those at 0 Hz and half the rate stand for their mirror image too. */
  const double sides = k == 0 || k == octaves->frames / 2 ? 1.0 : 2.0;
  const double weight = share * sides;
  const double complex left = octaves->left[k];
  const double complex right = octaves->right[k];
  power[PLANISH_BAND_LEFT] += weight * square(left);
  power[PLANISH_BAND_RIGHT] += weight * square(right);
  power[PLANISH_BAND_MID] += 0.25 * weight * square(left + right);
  power[PLANISH_BAND_SIDE] += 0.25 * weight * square(left - right);
}

static void add_band(PlanishThirdOctaves *octaves, size_t band)
{
  const double per_bin = (double)octaves->frames / octaves->rate;
  const double half = (double)octaves->frames / 2.0;
  const double centre = planish_third_octave_centre(band) * per_bin;
  const double edge = pow(10.0, 0.05);
  const double low = centre / edge;
  const double high = fmin(centre * edge, half + 0.5);
  const size_t last = (size_t)fmin(high + 0.5, half);
  for (size_t k = (size_t)(low + 0.5); k <= last; ++k) {
    const double share = fmin(high, (double)k + 0.5) - fmax(low, (double)k - 0.5);
    add_bin(octaves, k, share, octaves->power[band]);
  }
}

static void take_window(PlanishThirdOctaves *octaves)
{
  const size_t hop = octaves->frames / OVERLAP;
  transform(octaves, 0, octaves->left);
  transform(octaves, 1, octaves->right);
  for (size_t band = 0; band < octaves->bands; ++band) {
    add_band(octaves, band);
  }
  octaves->filled = octaves->frames - hop;
  memmove(octaves->past, octaves->past + 2 * hop, 2 * octaves->filled * sizeof(float));
}

/* NULL: silence. */
static void feed(PlanishThirdOctaves *octaves, const float *interleaved, size_t frames)
{
  size_t done = 0;
  while (done < frames) {
    const size_t room = octaves->frames - octaves->filled;
    const size_t piece = frames - done < room ? frames - done : room;
    float *to = octaves->past + 2 * octaves->filled;
    if (interleaved != NULL) {
      memcpy(to, interleaved + 2 * done, 2 * piece * sizeof(float));
    } else {
      memset(to, 0, 2 * piece * sizeof(float));
    }
    octaves->filled += piece;
    done += piece;
    if (octaves->filled == octaves->frames) {
      take_window(octaves);
    }
  }
}

void planish_third_octaves_process(PlanishThirdOctaves *octaves, const float *interleaved,
                                   size_t frames)
{
  octaves->total += frames;
  feed(octaves, interleaved, frames);
}

void planish_third_octaves_finish(PlanishThirdOctaves *octaves, PlanishThirdOctaveLevels *levels)
{
  /* Until the last frame has stood in every window that it can. */
  feed(octaves, NULL, octaves->frames);
  const double scale =
      1.0 / (WINDOWS_SUM * (double)octaves->frames * fmax(1.0, (double)octaves->total));
  levels->count = octaves->bands;
  for (size_t b = 0; b < octaves->bands; ++b) {
    levels->band[b].nominal = planish_third_octave_nominal(b);
    levels->band[b].centre = planish_third_octave_centre(b);
    for (size_t c = 0; c < PLANISH_BAND_CHANNELS; ++c) {
      const double power = octaves->power[b][c] * scale;
      levels->band[b].level[c] = power > 0.0 ? 10.0 * log10(power) : -HUGE_VAL;
    }
  }
}
