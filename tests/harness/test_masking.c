/* The level at which a tone beside another is over the mask, against the law written out plainly:
 * bands, ear, spreading and offsets in the style of ITU-R BS.1387-1, 2.1 (formulas from memory, as
 * masking.h says), every band against every other, in dB and without shortcuts. */
#include "harness/distortion/masking.h"
#include "harness/measure/spectrum.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdlib.h>

enum { RATE = 48000, LENGTH = 2048, BINS = LENGTH / 2 + 1, MOST = 128 };

static PlanishFitPlans *plans;
static PlanishMasking *masking;

static int start(void **state)
{
  (void)state;
  plans = planish_fit_plans_new(RATE);
  masking = plans == NULL ? NULL : planish_masking_new(plans);
  return masking == NULL || plans->unit * PLANISH_FIT_MASK_FRAME != LENGTH ? -1 : 0;
}

static int stop(void **state)
{
  (void)state;
  planish_masking_free(masking);
  planish_fit_plans_free(plans);
  return 0;
}

static void tone(PlanishPair *pair, double hz, double amplitude)
{
  for (size_t n = 0; n < LENGTH; ++n) {
    pair[n] = (PlanishPair){amplitude * sin(2.0 * M_PI * hz * (double)n / RATE + 0.3), 0.0};
  }
}

/* Powers of bins under a Hann window: a sine of full scale adds up to 92 dB, ear included. */
static void powers_of(const PlanishPair *pair, double *power)
{
  float x[LENGTH];
  double complex bins[BINS];
  PlanishSpectrum *spectrum = planish_spectrum_new(LENGTH);
  for (size_t n = 0; n < LENGTH; ++n) {
    x[n] = (float)(pair[n].re * (0.5 - 0.5 * cos(2.0 * M_PI * ((double)n + 0.5) / LENGTH)));
  }
  planish_spectrum_forward(spectrum, x, bins);
  planish_spectrum_free(spectrum);
  for (size_t k = 0; k < BINS; ++k) {
    const double khz = fmax((double)k * RATE / LENGTH, 10.0) / 1000.0;
    const double ear = -0.6 * 3.64 * pow(khz, -0.8) + 6.5 * exp(-0.6 * pow(khz - 3.3, 2.0)) -
                       0.001 * pow(khz, 3.6);
    const double sine = 1.5 * pow(LENGTH / 4.0, 2.0);
    power[k] = pow(10.0, (92.0 + ear) / 10.0) * pow(cabs(bins[k]), 2.0) / sine;
  }
}

static double hz_at(double z)
{
  return 650.0 * sinh(z / 7.0);
}

static int band_count(void)
{
  return (int)((7.0 * asinh(18000.0 / 650.0) - 7.0 * asinh(80.0 / 650.0)) / 0.25);
}

static double bark_of(int band)
{
  return 7.0 * asinh(80.0 / 650.0) + 0.25 * band;
}

/* By the share of each bin's width that lies in the band. */
static void bands_of(const double *power, double *band)
{
  for (int i = 0; i < band_count(); ++i) {
    const double from = hz_at(bark_of(i)) * LENGTH / RATE;
    const double to = hz_at(bark_of(i) + 0.25) * LENGTH / RATE;
    band[i] = 0.0;
    for (size_t k = 0; k < BINS; ++k) {
      band[i] += power[k] * fmax(0.0, fmin((double)k + 0.5, to) - fmax((double)k - 0.5, from));
    }
  }
}

/* dB by which band i, of a level in dB, reaches band j. */
static double reach(int i, int j, double level)
{
  const double hz = hz_at(bark_of(i) + 0.125);
  const double up = fmax(24.0 + 230.0 / hz - 0.2 * level, 4.0);
  return j < i ? -27.0 * 0.25 * (i - j) : -up * 0.25 * (j - i);
}

static void spread_plainly(const double *band, double *excitation)
{
  const int count = band_count();
  for (int j = 0; j < count; ++j) {
    double sum = 0.0;
    for (int i = 0; i < count; ++i) {
      const double level = 10.0 * log10(band[i]);
      double lost = 0.0;
      for (int k = 0; k < count; ++k) {
        lost += pow(10.0, reach(i, k, level) / 10.0);
      }
      sum += pow(band[i] / lost * pow(10.0, reach(i, j, level) / 10.0), 0.4);
    }
    excitation[j] = pow(sum, 1.0 / 0.4);
  }
}

/* Noise over mask in the worst band, dB. */
static double worst_ratio(const PlanishPair *masker, const PlanishPair *noise)
{
  double power[BINS];
  double masks[MOST];
  double noises[MOST];
  double even[MOST];
  double excitation[MOST];
  double flat[MOST];
  double worst = 0.0;
  powers_of(masker, power);
  bands_of(power, masks);
  powers_of(noise, power);
  bands_of(power, noises);
  for (int i = 0; i < band_count(); ++i) {
    const double khz = hz_at(bark_of(i) + 0.125) / 1000.0;
    masks[i] += pow(10.0, 0.4 * 3.64 * pow(khz, -0.8) / 10.0);
    even[i] = 1.0;
  }
  spread_plainly(masks, excitation);
  spread_plainly(even, flat);
  for (int i = 0; i < band_count(); ++i) {
    const double z = bark_of(i);
    const double offset = z < 12.0 ? 3.0 : 0.25 * z;
    worst = fmax(worst, noises[i] / (excitation[i] / flat[i]) * pow(10.0, offset / 10.0));
  }
  return 10.0 * log10(worst);
}

/* The level of a tone, dB re full scale, at which it becomes audible beside another. */
static double threshold(const PlanishPair *masker, double hz)
{
  static PlanishPair noise[LENGTH];
  double low = -160.0;
  double high = 0.0;
  while (high - low > 0.001) {
    const double middle = 0.5 * (low + high);
    tone(noise, hz, pow(10.0, middle / 20.0));
    if (planish_masking_process(masking, masker, noise).audible) {
      high = middle;
    } else {
      low = middle;
    }
  }
  return low;
}

static void a_tone_is_audible_from_where_the_law_says(void **state)
{
  (void)state;
  static PlanishPair masker[LENGTH];
  static PlanishPair noise[LENGTH];
  static const struct {
    double masker_hz;
    double level; /* dBFS */
    double noise_hz;
  } cases[] = {{1000.0, 0.0, 3000.0},    {1000.0, -10.0, 1000.0},  {1000.0, -10.0, 1300.0},
               {1000.0, -10.0, 2500.0},  {1000.0, -10.0, 700.0},   {1000.0, -10.0, 450.0},
               {1000.0, -50.0, 1300.0},  {1000.0, -50.0, 2000.0},  {5000.0, -20.0, 5000.0},
               {9000.0, -20.0, 9000.0},  {9000.0, -20.0, 12000.0}, {200.0, -15.0, 330.0},
               {3000.0, -200.0, 3000.0}, {100.0, -200.0, 100.0},   {15000.0, -30.0, 15500.0}};
  double furthest = 0.0;
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    tone(masker, cases[n].masker_hz, pow(10.0, cases[n].level / 20.0));
    tone(noise, cases[n].noise_hz, 1.0);
    const double expected = -worst_ratio(masker, noise);
    const double found = threshold(masker, cases[n].noise_hz);
    printf("    %5.0f Hz at %6.1f dBFS hides %5.0f Hz up to %7.2f dBFS (by the law %7.2f)\n",
           cases[n].masker_hz, cases[n].level, cases[n].noise_hz, found, expected);
    furthest = fmax(furthest, fabs(found - expected));
  }
  printf("    furthest off %.4f dB\n", furthest);
  assert_true(furthest < 0.01);
}

/* A tone on the right is no less audible for a louder one that is on the left alone. */
static void each_channel_is_judged_by_itself(void **state)
{
  (void)state;
  static PlanishPair masker[LENGTH];
  static PlanishPair noise[LENGTH];
  for (size_t n = 0; n < LENGTH; ++n) {
    const double x = sin(2.0 * M_PI * 1000.0 * (double)n / RATE);
    masker[n] = (PlanishPair){0.05 * x, 0.05 * x};   /* left */
    noise[n] = (PlanishPair){0.005 * x, -0.005 * x}; /* right, 20 dB under it */
  }
  assert_true(planish_masking_process(masking, masker, noise).audible);
  for (size_t n = 0; n < LENGTH; ++n) {
    noise[n].im = 0.1 * noise[n].re; /* now mostly where the masker is */
    masker[n].im = 0.0;
  }
  const PlanishMaskingFrame both = planish_masking_process(masking, masker, noise);
  printf("    at the same place %.2f dB\n", both.ratio);
  assert_true(both.ratio <= 0.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_tone_is_audible_from_where_the_law_says),
      cmocka_unit_test(each_channel_is_judged_by_itself),
  };
  return cmocka_run_group_tests(tests, start, stop);
}
