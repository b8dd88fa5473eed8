/* The filters ahead of a detector, against the closed forms of their prototypes. */
#include "common/dsp/maths.h"
#include "common/dsp/side_chain.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/one_frame.h"

#include <complex.h>
#include <math.h>
#include <stdio.h>

enum { FRAMES = 1 << 15 };

/* |H| in dB at `hz` of what the chain does, with frequencies in Hz. */
static double level_at(PlanishBandType type, double centre, double q, double high_pass,
                       double share, double rate, double hz)
{
  PlanishSideChain chain = {0};
  PlanishSideChainCoefs coefs;
  const PlanishSvfCoefs band =
      planish_side_chain_band(type, planish_side_chain_tangent(centre, rate), q);
  planish_side_chain_set(&coefs, &band, planish_side_chain_tangent(high_pass, rate), share);
  double complex sum = 0.0;
  for (int n = 0; n < FRAMES; ++n) {
    const PlanishTwo y = next_of_side_chain(&chain, &coefs, planish_both(n == 0 ? 1.0 : 0.0));
    assert_true(y[0] == y[1]);
    sum += y[0] * cexp(CMPLX(0.0, -2.0 * PLANISH_PI * hz / rate * n));
  }
  return 20.0 * log10(cabs(sum));
}

/* Butterworth of second order and a band-pass of 0 dB, by the bilinear transform. */
static double closed_form(PlanishBandType type, double centre, double q, double high_pass,
                          double rate, double hz)
{
  const double turn = tan(PLANISH_PI * hz / rate);
  const double ratio = turn / tan(PLANISH_PI * centre / rate);
  const double pass = turn / tan(PLANISH_PI * high_pass / rate);
  const double off = q * (ratio - 1.0 / ratio);
  double level = high_pass > 0.0 ? -10.0 * log10(1.0 + pow(pass, -4.0)) : 0.0;
  switch (type) {
  case PLANISH_BAND_LOW_SHELF:
    level -= 10.0 * log10(1.0 + pow(ratio, 4.0));
    break;
  case PLANISH_BAND_HIGH_SHELF:
    level -= 10.0 * log10(1.0 + pow(ratio, -4.0));
    break;
  case PLANISH_BAND_PEAKING:
    level -= 10.0 * log10(1.0 + off * off);
    break;
  case PLANISH_BAND_FULL:
    break;
  }
  return level;
}

static void bands_and_high_pass_are_their_prototypes(void **state)
{
  (void)state;
  static const struct {
    double rate;
    double centre;
    double high_pass;
  } rows[] = {{48000.0, 120.0, 150.0},
              {48000.0, 16000.0, 500.0},
              {44100.0, 16000.0, 80.0},
              {8000.0, 3500.0, 500.0}};
  double worst = 0.0;
  for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
    for (int type = PLANISH_BAND_FULL; type <= PLANISH_BAND_PEAKING; ++type) {
      for (double hz = 25.0; hz < 0.48 * rows[i].rate; hz *= 1.7) {
        for (int on = 0; on < 2; ++on) {
          const double found = level_at((PlanishBandType)type, rows[i].centre, 1.5,
                                        rows[i].high_pass, on, rows[i].rate, hz);
          const double expected = closed_form((PlanishBandType)type, rows[i].centre, 1.5,
                                              on ? rows[i].high_pass : 0.0, rows[i].rate, hz);
          worst = fmax(worst, expected < -90.0 ? 0.0 : fabs(found - expected));
        }
      }
    }
  }
  printf("bands and high pass against the closed forms: %.2g dB\n", worst);
  assert_true(worst <= 1e-6);
}

/* A frequency that the rate does not hold becomes the highest that it does. */
static void frequencies_are_held_under_half_the_rate(void **state)
{
  (void)state;
  const double highest = planish_side_chain_tangent(0.49 * 8000.0, 8000.0);
  assert_true(planish_side_chain_tangent(16000.0, 8000.0) == highest);
  assert_true(fabs(highest / tan(0.49 * PLANISH_PI) - 1.0) <= 1e-9);
  assert_true(fabs(planish_side_chain_tangent(16000.0, 48000.0) / sqrt(3.0) - 1.0) <= 1e-9);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bands_and_high_pass_are_their_prototypes),
      cmocka_unit_test(frequencies_are_held_under_half_the_rate),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
