#include "harness/distortion/masking.h"

#include "common/dsp/maths.h"

#include <stdlib.h>

enum { MOST_BANDS = 128 };

static const double lowest_hz = 80.0;
static const double highest_hz = 18000.0;
static const double band_bark = 0.25;
static const double full_scale_db = 92.0; /* SPL of a sine */
static const double exponent = 0.4;
static const double slope_down = 27.0;   /* dB/Bark */
static const double least_slope = 4.0;   /* dB/Bark upwards, whatever the level */
static const double silence_db = -120.0; /* least ratio */

typedef struct {
  size_t first_bin;
  size_t last_bin;
  double first_share; /* of the first bin, and of the last, that lies in the band */
  double last_share;
  double quiet;  /* threshold, power */
  double offset; /* of the mask, as a factor of power */
  double slope;  /* dB/Bark upwards, at 0 dB */
} Band;

struct PlanishMasking {
  const PlanishFitPlans *plans;
  size_t length;
  int count;
  double *window;
  double *ear;    /* factor of power, by bin */
  double *powers; /* of bins */
  PlanishPair *spectra[2];
  Band bands[MOST_BANDS];
  double flat[MOST_BANDS]; /* what spreading makes of 0 dB in every band */
};

static double bark(double hz)
{
  return 7.0 * asinh(hz / 650.0);
}

static double hz_of(double z)
{
  return 650.0 * sinh(z / 7.0);
}

static double power_of(double db)
{
  return planish_exp2(0.1 * PLANISH_LOG2_10 * db);
}

/* dB, outer and middle ear. */
static double ear_at(double hz)
{
  const double khz = planish_max(hz, 10.0) / 1000.0;
  return -0.6 * 3.64 * pow(khz, -0.8) + 6.5 * exp(-0.6 * (khz - 3.3) * (khz - 3.3)) -
         0.001 * pow(khz, 3.6);
}

/* dB, what the ear itself adds. */
static double quiet_at(double hz)
{
  return 0.4 * 3.64 * pow(hz / 1000.0, -0.8);
}

static double share_of(double bin, double from, double to)
{
  return planish_max(planish_min(bin + 0.5, to) - planish_max(bin - 0.5, from), 0.0);
}

static void design_band(const PlanishMasking *masking, Band *band, double z)
{
  const double bins = (double)masking->length / masking->plans->rate;
  const double from = hz_of(z) * bins;
  const double to = hz_of(z + band_bark) * bins;
  const double hz = hz_of(z + 0.5 * band_bark);
  band->first_bin = (size_t)(from + 0.5);
  band->last_bin = (size_t)(to + 0.5);
  band->first_share = share_of((double)band->first_bin, from, to);
  band->last_share =
      band->last_bin > band->first_bin ? share_of((double)band->last_bin, from, to) : 0.0;
  band->quiet = power_of(quiet_at(hz));
  band->offset = power_of(-(z < 12.0 ? 3.0 : 0.25 * z));
  band->slope = 24.0 + 230.0 / hz;
}

/* Each band's power, spread over all of them without loss, added with the exponent. */
static void spread(const PlanishMasking *masking, const double *power, double *excitation)
{
  const int count = masking->count;
  const double down = power_of(-slope_down * band_bark);
  const double down_part = planish_exp2(exponent * planish_log2(down));
  double part[MOST_BANDS] = {0.0};
  double up_part[MOST_BANDS] = {0.0};
  for (int i = 0; i < count; ++i) {
    const double level = planish_level_of_power(power[i]);
    const double slope = planish_max(masking->bands[i].slope - 0.2 * level, least_slope);
    const double up = power_of(-slope * band_bark);
    up_part[i] = power_of(-exponent * slope * band_bark);
    const double lost = (1.0 - planish_exp2((i + 1) * planish_log2(down))) / (1.0 - down) +
                        (1.0 - planish_exp2((count - i) * planish_log2(up))) / (1.0 - up) - 1.0;
    part[i] = planish_exp2(exponent * planish_log2(power[i] / lost));
    excitation[i] = 0.0;
  }
  double below = 0.0;
  for (int i = count - 1; i >= 0; --i) {
    below = below * down_part + part[i];
    excitation[i] += below;
    double above = part[i];
    for (int j = i + 1; j < count; ++j) {
      above *= up_part[i];
      excitation[j] += above;
    }
  }
  for (int i = 0; i < count; ++i) {
    excitation[i] = planish_exp2(planish_log2(excitation[i]) / exponent);
  }
}

static void design(PlanishMasking *masking)
{
  const size_t length = masking->length;
  const double rate = masking->plans->rate;
  /* A sine of amplitude 1 has a quarter of the length in its bin, half of that on either side. */
  const double sine = 1.5 * (double)length * (double)length / 16.0;
  for (size_t n = 0; n < length; ++n) {
    masking->window[n] = 0.5 - 0.5 * cos(2.0 * PLANISH_PI * ((double)n + 0.5) / (double)length);
  }
  for (size_t k = 0; k <= length / 2; ++k) {
    masking->ear[k] = power_of(full_scale_db + ear_at((double)k * rate / (double)length)) / sine;
  }
  const double top = bark(planish_min(highest_hz, 0.49 * rate));
  masking->count = (int)planish_min((top - bark(lowest_hz)) / band_bark, MOST_BANDS);
  double even[MOST_BANDS];
  for (int i = 0; i < masking->count; ++i) {
    design_band(masking, &masking->bands[i], bark(lowest_hz) + band_bark * i);
    even[i] = 1.0;
  }
  spread(masking, even, masking->flat);
}

PlanishMasking *planish_masking_new(const PlanishFitPlans *plans)
{
  PlanishMasking *masking = calloc(1, sizeof *masking);
  if (masking == NULL) {
    return NULL;
  }
  masking->plans = plans;
  masking->length = PLANISH_FIT_MASK_FRAME * plans->unit;
  masking->window = calloc(masking->length, sizeof *masking->window);
  masking->ear = calloc(masking->length / 2 + 1, sizeof *masking->ear);
  masking->powers = calloc(masking->length / 2 + 1, sizeof *masking->powers);
  masking->spectra[0] = planish_fit_buffer(masking->length);
  masking->spectra[1] = planish_fit_buffer(masking->length);
  if (masking->window == NULL || masking->ear == NULL || masking->powers == NULL ||
      masking->spectra[0] == NULL || masking->spectra[1] == NULL) {
    planish_masking_free(masking);
    return NULL;
  }
  design(masking);
  return masking;
}

void planish_masking_free(PlanishMasking *masking)
{
  if (masking != NULL) {
    free(masking->window);
    free(masking->ear);
    free(masking->powers);
    fftw_free(masking->spectra[0]);
    fftw_free(masking->spectra[1]);
    free(masking);
  }
}

/* Left + i right from here on. */
static void transform(const PlanishMasking *masking, const PlanishPair *from, PlanishPair *to)
{
  for (size_t n = 0; n < masking->length; ++n) {
    to[n].re = masking->window[n] * (from[n].re + from[n].im);
    to[n].im = masking->window[n] * (from[n].re - from[n].im);
  }
  planish_fit_run(masking->plans->mask_forward, to);
}

/* Power of a channel in each band. */
static void group(PlanishMasking *masking, const PlanishPair *spectrum, int channel, double *bands)
{
  const size_t length = masking->length;
  for (size_t k = 0; k <= length / 2; ++k) {
    PlanishPair x[2];
    planish_pair_open(spectrum[k], spectrum[(length - k) % length], &x[0], &x[1]);
    const PlanishPair bin = x[channel];
    masking->powers[k] = masking->ear[k] * (bin.re * bin.re + bin.im * bin.im);
  }
  for (int i = 0; i < masking->count; ++i) {
    const Band *band = &masking->bands[i];
    double sum = band->first_share * masking->powers[band->first_bin] +
                 band->last_share * masking->powers[band->last_bin];
    for (size_t k = band->first_bin + 1; k < band->last_bin; ++k) {
      sum += masking->powers[k];
    }
    bands[i] = sum;
  }
}

PlanishMaskingFrame planish_masking_process(PlanishMasking *masking, const PlanishPair *masker,
                                            const PlanishPair *noise)
{
  PlanishMaskingFrame frame = {silence_db, false};
  transform(masking, masker, masking->spectra[0]);
  transform(masking, noise, masking->spectra[1]);
  for (int channel = 0; channel < 2; ++channel) {
    double power[MOST_BANDS] = {0.0};
    double excitation[MOST_BANDS] = {0.0};
    double disturbance[MOST_BANDS] = {0.0};
    group(masking, masking->spectra[0], channel, power);
    group(masking, masking->spectra[1], channel, disturbance);
    for (int i = 0; i < masking->count; ++i) {
      power[i] += masking->bands[i].quiet;
    }
    spread(masking, power, excitation);
    double mean = 0.0;
    for (int i = 0; i < masking->count; ++i) {
      const double mask = masking->bands[i].offset * excitation[i] / masking->flat[i];
      const double ratio = disturbance[i] / mask;
      frame.audible = frame.audible || ratio > 1.0;
      mean += ratio / masking->count;
    }
    frame.ratio = planish_max(frame.ratio, mean > 0.0 ? planish_level_of_power(mean) : silence_db);
  }
  return frame;
}
