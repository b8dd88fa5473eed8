/* Dither to 16 bit, plain and shaped: the noise as it comes out, weighted as it is heard. */
#include "harness/deliver/shaping.h"
#include "tests/unit/cmocka_headers.h"

#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { SIZE = 8192, FRAMES = 1 << 21, BLOCK = 1 << 13 };

static const double pi = 3.14159265358979323846;

/* ITU-R BS.468-4, as its network's closed form; dB at its table's frequencies to 0.1. */
static double itu_468(double hz)
{
  const double even = -4.737338981378384e-24 * pow(hz, 6) + 2.043828333606125e-15 * pow(hz, 4) -
                      1.363894795463638e-7 * hz * hz + 1.0;
  const double odd = 1.306612257412824e-19 * pow(hz, 5) - 2.118150887518656e-11 * pow(hz, 3) +
                     5.559488023498642e-4 * hz;
  const double gain = 8.1283 * 1.246332637532143e-4 * hz / hypot(even, odd); /* 18.2 dB */
  return gain * gain;
}

/* ISO 226:2003, threshold of hearing, dB; as far as it goes. */
static double iso_226(double hz)
{
  static const double table[][2] = {
      {20, 78.5},   {25, 68.7},  {31.5, 59.5}, {40, 51.1},    {50, 44.0},   {63, 37.5},
      {80, 31.5},   {100, 26.5}, {125, 22.1},  {160, 17.9},   {200, 14.4},  {250, 11.4},
      {315, 8.6},   {400, 6.2},  {500, 4.4},   {630, 3.0},    {800, 2.2},   {1000, 2.4},
      {1250, 3.5},  {1600, 1.7}, {2000, -1.3}, {2500, -4.2},  {3150, -6.0}, {4000, -5.4},
      {5000, -1.5}, {6300, 6.0}, {8000, 12.6}, {10000, 13.9}, {12500, 12.3}};
  const size_t count = sizeof table / sizeof *table;
  if (hz < table[0][0] || hz > table[count - 1][0]) {
    return 0.0;
  }
  size_t n = 1;
  while (table[n][0] < hz) {
    n += 1;
  }
  const double part = log(hz / table[n - 1][0]) / log(table[n][0] / table[n - 1][0]);
  return pow(10.0, -0.1 * (table[n - 1][1] + part * (table[n][1] - table[n - 1][1])));
}

/* Terhardt's threshold with no bottom. */
static double terhardt(double hz)
{
  const double khz = fmax(hz, 20.0) / 1000.0;
  return pow(10.0, -0.1 * (3.64 * pow(khz, -0.8) - 6.5 * exp(-0.6 * (khz - 3.3) * (khz - 3.3)) +
                           0.001 * pow(khz, 4.0)));
}

/* |1 + shape|^2 at a share of the rate. */
static double power_at(const PlanishDitherWord *word, double turn)
{
  double complex sum = 1.0;
  for (unsigned n = 0; n < word->order; ++n) {
    sum += word->shape[n] * cexp(CMPLX(0.0, -2.0 * pi * turn * (n + 1)));
  }
  return creal(sum * conj(sum));
}

/* The error's mean power in bins, LSB^2, of music-like sound at 16 bit. */
static double *spectrum_of(const PlanishDitherWord *word, double *total, double *largest)
{
  static double in[2 * BLOCK];
  static int32_t out[2 * (BLOCK + PLANISH_DITHER_BLACK)];
  static double error[SIZE];
  double *power = calloc(SIZE / 2 + 1, sizeof *power);
  fftw_complex *bins = fftw_alloc_complex(SIZE / 2 + 1);
  fftw_plan plan = fftw_plan_dft_r2c_1d(SIZE, error, bins, FFTW_ESTIMATE);
  PlanishDither dither;
  planish_dither_start(&dither, word, 7);
  *total = 0.0;
  *largest = 0.0;
  for (int done = 0; done < FRAMES; done += BLOCK) {
    for (int n = 0; n < BLOCK; ++n) {
      in[2 * n] = 0.3 * sin(0.0131 * (done + n)) + 0.2 * sin(0.5557 * (done + n));
      in[2 * n + 1] = 1e-4 * sin(0.0733 * (done + n));
    }
    assert_int_equal(planish_dither_process_double(&dither, in, BLOCK, out), BLOCK);
    for (int n = 0; n < SIZE; ++n) {
      const double e = out[2 * n] - in[2 * n] * 32768.0;
      *total += e * e;
      *largest = fmax(*largest, fabs(e));
      error[n] = e * sin(pi * (n + 0.5) / SIZE);
    }
    fftw_execute(plan);
    for (int n = 0; n <= SIZE / 2; ++n) {
      const double a = cabs(bins[n]);
      power[n] += a * a / (0.5 * SIZE) / (FRAMES / BLOCK);
    }
  }
  *total /= FRAMES;
  fftw_destroy_plan(plan);
  fftw_free(bins);
  return power;
}

/* dB of a spectrum re another, weighted. */
static double weighted(const double *power, const double *plain, double rate,
                       double (*weight)(double hz))
{
  double a = 0.0;
  double b = 0.0;
  for (int n = 1; n < SIZE / 2; ++n) {
    const double w = weight(n * rate / SIZE);
    a += w * power[n];
    b += w * plain[n];
  }
  return 10.0 * log10(a / b);
}

/* ITU-R BS.468-4, table: what the closed form gives there. */
static void the_judge_is_the_standards(void **state)
{
  (void)state;
  static const double table[][2] = {{31.5, -29.9}, {100, -19.8},   {1000, 0.0},   {6300, 12.2},
                                    {10000, 8.1},  {16000, -11.7}, {20000, -22.2}};
  for (size_t n = 0; n < sizeof table / sizeof *table; ++n) {
    assert_true(fabs(10.0 * log10(itu_468(table[n][0])) - table[n][1]) < 0.15);
  }
}

/* At 44.1 kHz: weighted by the threshold of hearing at least 11.5 dB under plain dither, in all at
 * most 11 dB over it. White noise of another shape fails the one, a deeper one the other. */
static void shaped_noise_is_heard_less(void **state)
{
  (void)state;
  const double rate = 44100.0;
  PlanishDitherWord plain = {.bits = 16};
  PlanishDitherWord shaped = {.bits = 16};
  double totals[2];
  double largest[2];
  planish_shaping_design(&shaped, rate);
  double *white = spectrum_of(&plain, &totals[0], &largest[0]);
  double *power = spectrum_of(&shaped, &totals[1], &largest[1]);
  const double heard = weighted(power, white, rate, planish_shaping_weight);
  const double more = 10.0 * log10(totals[1] / totals[0]);
  printf("44.1 kHz: weighted %.2f dB (threshold without a bottom %.2f, ISO 226 to 12.5 kHz %.2f, "
         "ITU-R 468 %.2f), total %+.2f dB, largest error %.1f LSB (plain %.1f)\n",
         heard, weighted(power, white, rate, terhardt), weighted(power, white, rate, iso_226),
         weighted(power, white, rate, itu_468), more, largest[1], largest[0]);
  printf("plain: variance %.4f LSB^2\n", totals[0]);
  assert_true(heard <= -11.5);
  assert_true(more <= 11.0);
  assert_true(fabs(totals[0] - 0.25) < 0.0025);
  assert_true(largest[1] < 8.0);
  assert_true(weighted(power, white, rate, terhardt) <= -11.5);
  assert_true(weighted(power, white, rate, iso_226) <= -11.5);
  free(white);
  free(power);
}

/* What comes out is LSB^2/4 through the filter, in every bin: within what an average of 256 spectra
 * scatters. */
static void the_noise_has_the_filters_shape(void **state)
{
  (void)state;
  PlanishDitherWord word = {.bits = 16};
  double total = 0.0;
  double largest = 0.0;
  double worst = 0.0;
  planish_shaping_design(&word, 48000.0);
  double *power = spectrum_of(&word, &total, &largest);
  for (int n = 32; n < SIZE / 2 - 32; n += 32) {
    double is = 0.0;
    double should = 0.0;
    for (int k = n - 16; k < n + 16; ++k) {
      is += power[k];
      should += 0.25 * power_at(&word, (double)k / SIZE);
    }
    worst = fmax(worst, fabs(10.0 * log10(is / should)));
  }
  printf("48 kHz: bands of 190 Hz off the filter by at most %.2f dB\n", worst);
  assert_true(worst < 0.4);
  free(power);
}

/* Gerzon, Craven: the mean of the logarithm over all frequencies is 0 for a minimum-phase shape,
 * and over it for any other; the total is the sum of the squared taps. */
static void the_shape_is_minimum_phase_at_any_rate(void **state)
{
  (void)state;
  static const double rates[] = {8000, 32000, 44100, 48000, 88200, 96000, 176400, 192000, 384000};
  for (size_t r = 0; r < sizeof rates / sizeof *rates; ++r) {
    PlanishDitherWord word = {.bits = 16};
    double mean = 0.0;
    double squares = 1.0;
    planish_shaping_design(&word, rates[r]);
    for (int n = 0; n < 1 << 15; ++n) {
      mean += 10.0 * log10(power_at(&word, (n + 0.5) / (1 << 16))) / (1 << 15);
    }
    for (unsigned n = 0; n < word.order; ++n) {
      squares += word.shape[n] * word.shape[n];
    }
    printf("%6.0f Hz: mean of the logarithm %+.5f dB, total %+.2f dB\n", rates[r], mean,
           10.0 * log10(squares));
    assert_true(fabs(mean) < 0.001);
    assert_true(10.0 * log10(squares) < (rates[r] < 44100 ? 14.0 : 11.0));
  }
}

/* Constants between steps: mean and variance of plain dither at 16 bit do not depend on them. */
static void moments_at_16_bit(void **state)
{
  (void)state;
  static const double levels[] = {0.25, 0.37, 0.5, 1000.1};
  static double in[2 * BLOCK];
  static int32_t out[2 * (BLOCK + PLANISH_DITHER_BLACK)];
  const PlanishDitherWord word = {.bits = 16};
  for (size_t l = 0; l < sizeof levels / sizeof *levels; ++l) {
    double sum = 0.0;
    double squares = 0.0;
    PlanishDither dither;
    planish_dither_start(&dither, &word, l);
    for (int n = 0; n < 2 * BLOCK; ++n) {
      in[n] = levels[l] / 32768.0;
    }
    for (int done = 0; done < FRAMES; done += BLOCK) {
      planish_dither_process_double(&dither, in, BLOCK, out);
      for (int n = 0; n < 2 * BLOCK; ++n) {
        sum += out[n] - levels[l];
        squares += (out[n] - levels[l]) * (out[n] - levels[l]);
      }
    }
    printf("at %7.2f LSB: mean %+.5f, variance %.5f\n", levels[l], sum / (2.0 * FRAMES),
           squares / (2.0 * FRAMES));
    assert_true(fabs(sum / (2.0 * FRAMES)) < 0.001);
    assert_true(fabs(squares / (2.0 * FRAMES) - 0.25) < 0.001);
  }
}

/* Full scale for a while: what could not be made up for must not come back. */
static void full_scale_leaves_no_trace(void **state)
{
  (void)state;
  static double in[2 * BLOCK];
  static int32_t out[2 * (BLOCK + PLANISH_DITHER_BLACK)];
  PlanishDitherWord word = {.bits = 16};
  PlanishDither dither;
  planish_shaping_design(&word, 44100.0);
  planish_dither_start(&dither, &word, 1);
  for (int n = 0; n < 2 * BLOCK; ++n) {
    in[n] = n < BLOCK ? 1.5 : 0.1;
  }
  planish_dither_process_double(&dither, in, BLOCK, out);
  assert_int_equal(dither.clipped, BLOCK);
  for (int n = 0; n < BLOCK; ++n) {
    assert_int_equal(out[n], 32767);
    assert_true(fabs(out[BLOCK + n] - 3276.8) < 8.0);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_judge_is_the_standards),
      cmocka_unit_test(shaped_noise_is_heard_less),
      cmocka_unit_test(the_noise_has_the_filters_shape),
      cmocka_unit_test(the_shape_is_minimum_phase_at_any_rate),
      cmocka_unit_test(moments_at_16_bit),
      cmocka_unit_test(full_scale_leaves_no_trace),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
