/* What the stage does to steady tones: distortion, and ripple of its gain. */
#include "common/dsp/gain_smoother.h"
#include "tests/unit/dynamics_fixture.h"
#include "tests/unit/tone_fit.h"

#define RATE 48000.0

enum { FRAMES = 96000, WINDOW = 48000, LATE = 240 };

/* 3.1 dB over at 2:1 within a range of 6 dB: 1.5 dB of reduction, where the curve is steep. */
#define PEAK_DB      (-6.0)
#define THRESHOLD_DB (-9.09)

static double of_stage(double hz, double release, double share, double *reduction)
{
  StageDriver driver;
  double *x = dynamics_sine(FRAMES + LATE, hz, PEAK_DB, 0.0);
  double *y = malloc((FRAMES + LATE) * sizeof(double));
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[DYNAMICS_THRESHOLD] = (float)THRESHOLD_DB;
  driver.values[DYNAMICS_KNEE] = 0.0F;
  driver.values[DYNAMICS_MAX_ABOVE] = 6.0F;
  driver.values[DYNAMICS_RELEASE] = (float)release;
  driver.values[DYNAMICS_HOLD] = 25.0F;
  driver.values[DYNAMICS_PEAK_TO_MEAN] = (float)(100.0 * share);
  dynamics_run(&driver, x, NULL, y, NULL, FRAMES + LATE);
  *reduction = -(double)driver.values[DYNAMICS_GAIN_CHANGE];
  const double result = tone_fit(y + FRAMES + LATE - WINDOW, WINDOW, hz, RATE).rest_db;
  stage_driver_free(&driver);
  free(x);
  free(y);
  return result;
}

/* The same curve and smoothing on the plain magnitude. */
static double of_rectified(double hz, double release)
{
  double *x = dynamics_sine(FRAMES, hz, PEAK_DB, 0.0);
  const PlanishGainCurve curve = {
      .threshold = THRESHOLD_DB, .slope_above = 0.5, .range_above = 6.0, .dead_band = 40.0};
  const PlanishGainTimes times = planish_gain_times(10.0, release, RATE);
  PlanishGainSmoother smoother = {0};
  for (int n = 0; n < FRAMES; ++n) {
    const PlanishGainParts target = planish_gain_curve_at(&curve, planish_level_of(fabs(x[n])));
    x[n] *= planish_gain_of(-planish_gain_smoother_next(&smoother, &times, target).above);
  }
  const double result = tone_fit(x + FRAMES - WINDOW, WINDOW, hz, RATE).rest_db;
  free(x);
  return result;
}

/* Goal: -100 dB at 1.5 dB of reduction. A rectified detector gives -36 to -76 and must not pass. */
static void tones_are_clean(void **state)
{
  (void)state;
  static const double tones[] = {20.0, 31.517, 50.0, 63.7354, 100.0};
  static const double releases[] = {10.0, 80.0, 200.0};
  static const double shares[] = {0.0, 0.5, 1.0};
  for (size_t i = 0; i < 5; ++i) {
    for (size_t r = 0; r < 3; ++r) {
      double worst = -400.0;
      double reduction = 0.0;
      for (size_t s = 0; s < 3; ++s) {
        worst = fmax(worst, of_stage(tones[i], releases[r], shares[s], &reduction));
        assert_true(fabs(reduction - 1.5) < 0.03);
      }
      const double rectified = of_rectified(tones[i], releases[r]);
      printf("%7.3f Hz, release %3.0f ms, %.2f dB of reduction: %.1f dB; rectified %.1f\n",
             tones[i], releases[r], reduction, worst, rectified);
      assert_true(worst <= -100.0);
      assert_true(rectified > -80.0);
    }
  }
}

/* Goal: 0.001 dB from peak to peak, release 10 ms, on tones that share no period with the rate. */
static void the_gain_does_not_ripple(void **state)
{
  (void)state;
  static const double tones[] = {24.0173,  31.517,   41.2034,  61.7354, 110.0473,
                                 439.8217, 997.3111, 4186.009, 9973.17};
  static const float shares[] = {0.0F, 50.0F, 100.0F};
  double *gain = malloc(FRAMES * sizeof(double));
  double worst = 0.0;
  for (size_t i = 0; i < sizeof tones / sizeof *tones; ++i) {
    for (size_t s = 0; s < 3; ++s) {
      StageDriver driver;
      double *x = dynamics_sine(FRAMES, tones[i], PEAK_DB, 0.3);
      stage_driver_new(&driver, &planish_stage, RATE);
      driver.values[DYNAMICS_THRESHOLD] = (float)THRESHOLD_DB;
      driver.values[DYNAMICS_MAX_ABOVE] = 6.0F;
      driver.values[DYNAMICS_RELEASE] = 10.0F;
      driver.values[DYNAMICS_HOLD] = 25.0F;
      driver.values[DYNAMICS_PEAK_TO_MEAN] = shares[s];
      linked_gain(&driver, x, gain, FRAMES);
      double low = 100.0;
      double high = -100.0;
      for (int n = FRAMES / 2; n < FRAMES - LATE; ++n) {
        low = fmin(low, gain[n]);
        high = fmax(high, gain[n]);
      }
      worst = fmax(worst, high - low);
      stage_driver_free(&driver);
      free(x);
    }
  }
  printf("ripple of the gain, 24 Hz to 10 kHz, release 10 ms: %.2g dB\n", worst);
  assert_true(worst <= 0.001);
  free(gain);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(tones_are_clean),
      cmocka_unit_test(the_gain_does_not_ripple),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
