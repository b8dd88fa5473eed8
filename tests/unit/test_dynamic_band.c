/* The moving shelf and bell: neutral at 0 dB, the cookbook's curves where it stands, quiet while it
 * moves. */
#include "common/dsp/dynamic_band.h"
#include "common/dsp/glide.h"
#include "common/dsp/maths.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/one_frame.h"

#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define RATE 48000.0

enum { FRAMES = 48000 };

static double noise(uint64_t *seed)
{
  *seed = *seed * 6364136223846793005u + 1442695040888963407u;
  return (double)(*seed >> 11) / 4503599627370496.0 - 1.0;
}

static void at_0_db_no_bit_changes(void **state)
{
  (void)state;
  uint64_t seed = 1;
  for (int type = 0; type < 4; ++type) {
    PlanishDynamicBand band;
    planish_dynamic_band_start(&band, (PlanishBandType)type, planish_both(0.0));
    for (int n = 0; n < FRAMES; ++n) {
      const PlanishTwo x = {noise(&seed), noise(&seed)};
      /* After a move, too. */
      const double gain = n > 100 && n < 2000 ? -0.001 * n : 0.0;
      const double tangent = 0.01 + 1e-6 * n;
      const PlanishTwo y = next_of_band(&band, planish_both(gain), tangent, 0.7, x);
      assert_true(gain != 0.0 || (y[0] == x[0] && y[1] == x[1]));
    }
  }
}

/* |H| in dB of the impulse response. */
static double level_at(const double *h, double hz)
{
  double complex sum = 0.0;
  for (int n = 0; n < FRAMES; ++n) {
    sum += h[n] * cexp(CMPLX(0.0, -2.0 * PLANISH_PI * hz / RATE * n));
  }
  return 20.0 * log10(cabs(sum));
}

static void impulse(PlanishBandType type, double gain, double hz, double q, double *h)
{
  PlanishDynamicBand band;
  const double tangent = planish_side_chain_tangent(hz, RATE);
  planish_dynamic_band_start(&band, type, planish_both(0.0));
  for (int n = 0; n < FRAMES; ++n) {
    const PlanishTwo x = planish_both(n == 0 ? 1.0 : 0.0);
    h[n] = next_of_band(&band, planish_both(gain), tangent, q, x)[1];
  }
}

/* Audio EQ Cookbook, analog forms, s in units of the centre, through the bilinear transform. */
static double cookbook(PlanishBandType type, double gain, double centre, double q, double hz)
{
  const double a = pow(10.0, gain / 40.0);
  const double warped = tan(PLANISH_PI * hz / RATE) / tan(PLANISH_PI * centre / RATE);
  const double complex s = CMPLX(0.0, warped);
  if (type == PLANISH_BAND_PEAKING) {
    return 20.0 * log10(cabs((s * s + s * a / q + 1.0) / (s * s + s / (a * q) + 1.0)));
  }
  const double complex t = type == PLANISH_BAND_LOW_SHELF ? s : 1.0 / s;
  const double root = sqrt(a) / q;
  return 20.0 * log10(cabs(a * (t * t + t * root + a) / (a * t * t + t * root + 1.0)));
}

static void standing_it_is_the_cookbook(void **state)
{
  (void)state;
  static const double gains[] = {-6.0, -1.0, 0.5, 4.0};
  double *h = malloc(FRAMES * sizeof *h);
  double worst = 0.0;
  for (int type = PLANISH_BAND_LOW_SHELF; type <= PLANISH_BAND_PEAKING; ++type) {
    for (size_t i = 0; i < 4; ++i) {
      impulse((PlanishBandType)type, gains[i], 800.0, 0.7071, h);
      for (double hz = 20.0; hz < 20000.0; hz *= 1.3) {
        const double expected = cookbook((PlanishBandType)type, gains[i], 800.0, 0.7071, hz);
        worst = fmax(worst, fabs(level_at(h, hz) - expected));
      }
    }
  }
  printf("against the cookbook: %.2g dB\n", worst);
  assert_true(worst <= 1e-6);
  free(h);
}

/* A fourth-order crossover's low band times (gain - 1), added: Butterworth low pass squared. */
static double crossover_form(double gain, double centre, double hz)
{
  const double complex s = CMPLX(0.0, hz / centre);
  const double complex low = 1.0 / (s * s + sqrt(2.0) * s + 1.0);
  return 20.0 * log10(cabs(1.0 + (pow(10.0, gain / 20.0) - 1.0) * low * low));
}

/* Goal: 1 dB off below 120 Hz, and nowhere 0.05 dB over or under. The crossover's form must fail.
 */
static void a_shelf_has_no_bump(void **state)
{
  (void)state;
  double *h = malloc(FRAMES * sizeof *h);
  impulse(PLANISH_BAND_LOW_SHELF, -1.0, 120.0, 0.70710678, h);
  double over = -10.0;
  double under = 10.0;
  double crossover = -10.0;
  double last = -2.0;
  for (double hz = 10.0; hz < 23000.0; hz *= 1.05) {
    const double level = level_at(h, hz);
    over = fmax(over, level);
    under = fmin(under, level);
    crossover = fmax(crossover, crossover_form(-1.0, 120.0, hz));
    assert_true(level >= last - 1e-6);
    last = level;
  }
  printf("1 dB off below 120 Hz: from %.4f to %+.6f dB; crossover form up to %+.3f dB\n", under,
         over, crossover);
  assert_true(over <= 0.05 && under >= -1.05);
  assert_true(crossover > 0.2);
  free(h);
}

/* 100 Hz under a shelf whose gain swings by 3 dB at 5 Hz: nothing above 1 kHz. */
static void a_moving_gain_is_quiet(void **state)
{
  (void)state;
  PlanishDynamicBand band;
  planish_dynamic_band_start(&band, PLANISH_BAND_LOW_SHELF, planish_both(0.0));
  double high[2] = {0.0, 0.0};
  double all = 0.0;
  double past[2] = {0.0, 0.0};
  for (int n = 0; n < 2 * FRAMES; ++n) {
    const double x = sin(2.0 * PLANISH_PI * 100.0 / RATE * n);
    const double gain = -1.5 + 1.5 * cos(2.0 * PLANISH_PI * 5.0 / RATE * n);
    const double y = next_of_band(&band, planish_both(gain), 0.0079, 0.7, planish_both(x))[0];
    const double bend = y - 2.0 * past[0] + past[1];
    past[1] = past[0];
    past[0] = y;
    if (n > FRAMES) {
      /* The fourth difference leaves of 100 Hz (w = 0.0131) w^4. */
      const double fourth = bend - 2.0 * high[0] + high[1];
      all = fmax(all, fabs(fourth));
    }
    high[1] = high[0];
    high[0] = bend;
  }
  const double w = 2.0 * PLANISH_PI * 100.0 / RATE;
  printf("fourth difference %.3g, of the tone alone %.3g\n", all, w * w * w * w);
  assert_true(all <= 1.3 * w * w * w * w);
}

/* A filter that begins where the signal has stood for long is there at once. */
static void it_begins_where_the_signal_stands(void **state)
{
  (void)state;
  const double expected[] = {pow(10.0, -0.15), pow(10.0, -0.15), 1.0, 1.0};
  for (int type = 0; type < 4; ++type) {
    PlanishDynamicBand band;
    const PlanishTwo x = {0.5, -0.3};
    planish_dynamic_band_start(&band, (PlanishBandType)type, x);
    for (int n = 0; n < 100; ++n) {
      const PlanishTwo y = next_of_band(&band, planish_both(-3.0), 0.02, 0.7, x);
      assert_true(fabs(y[0] - 0.5 * expected[type]) < 1e-12);
      assert_true(fabs(y[1] + 0.3 * expected[type]) < 1e-12);
    }
  }
}

/* Each lane by its own gain, also while the other stands still; and by what Q and frequency are
 * now. */
static void lanes_move_apart(void **state)
{
  (void)state;
  uint64_t seed = 8;
  for (int type = 0; type < 4; ++type) {
    PlanishDynamicBand apart;
    PlanishDynamicBand both[2];
    planish_dynamic_band_start(&apart, (PlanishBandType)type, planish_both(0.0));
    planish_dynamic_band_start(&both[0], (PlanishBandType)type, planish_both(0.0));
    planish_dynamic_band_start(&both[1], (PlanishBandType)type, planish_both(0.0));
    for (int n = 0; n < 4000; ++n) {
      const PlanishTwo x = {noise(&seed), noise(&seed)};
      const int phase = n / 1000;
      const PlanishTwo gain = {phase == 1 ? -0.002 * n : -2.0, phase == 0 ? 0.003 * n : 3.0};
      const double tangent = phase == 2 ? 0.01 + 1e-5 * n : 0.03;
      const double q = phase == 3 ? 0.0005 * n : 0.7;
      const PlanishTwo y = next_of_band(&apart, gain, tangent, q, x);
      for (int c = 0; c < 2; ++c) {
        /* A new design on every frame, whatever has changed. */
        both[c].q = -1.0;
        const PlanishTwo expected = next_of_band(&both[c], planish_both(gain[c]), tangent, q, x);
        assert_true(y[c] == expected[c]);
      }
    }
  }
}

/* In blocks of any length, through gains that stand, move together and move apart. */
static void blocks_are_as_frames(void **state)
{
  (void)state;
  uint64_t seed = 9;
  for (int type = 0; type < 4; ++type) {
    PlanishDynamicBand blocks;
    PlanishDynamicBand frames;
    planish_dynamic_band_start(&blocks, (PlanishBandType)type, planish_both(0.0));
    planish_dynamic_band_start(&frames, (PlanishBandType)type, planish_both(0.0));
    for (uint32_t n = 0; n < 4000;) {
      double gain[2][PLANISH_GRID];
      double audio[2][PLANISH_GRID];
      PlanishTwo x[PLANISH_GRID];
      const uint32_t count = 1 + n % PLANISH_GRID;
      for (uint32_t i = 0; i < count; ++i) {
        x[i] = (PlanishTwo){noise(&seed), noise(&seed)};
        audio[0][i] = x[i][0];
        audio[1][i] = x[i][1];
        gain[0][i] = n < 1000 ? 0.0 : (n < 2000 ? -1.5 : 0.001 * (n + i));
        gain[1][i] = n < 3000 ? gain[0][i] : -gain[0][i];
      }
      planish_dynamic_band_process(&blocks, (const double *const[2]){gain[0], gain[1]}, 0.03, 0.7,
                                   (double *const[2]){audio[0], audio[1]}, count);
      for (uint32_t i = 0; i < count; ++i) {
        const PlanishTwo y =
            next_of_band(&frames, (PlanishTwo){gain[0][i], gain[1][i]}, 0.03, 0.7, x[i]);
        assert_true(audio[0][i] == y[0] && audio[1][i] == y[1]);
      }
      n += count;
    }
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(at_0_db_no_bit_changes),
      cmocka_unit_test(standing_it_is_the_cookbook),
      cmocka_unit_test(a_shelf_has_no_bump),
      cmocka_unit_test(a_moving_gain_is_quiet),
      cmocka_unit_test(it_begins_where_the_signal_stands),
      cmocka_unit_test(lanes_move_apart),
      cmocka_unit_test(blocks_are_as_frames),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
