/* The mid/side equaliser at rest: responses, routing, what it leaves alone, the low end. */
#include "tests/unit/ms_eq_fixture.h"

enum { LENGTH = 65536 };

/* What comes out for an impulse of (left, right). */
static Signal impulse_response(StageDriver *driver, double left, double right)
{
  Signal signal = new_signal(LENGTH);
  signal.channel[0][0] = left;
  signal.channel[1][0] = right;
  stage_driver_reset(driver);
  run(driver, &signal, 0, LENGTH);
  return signal;
}

static double prototype_level(const Band *band, double hz)
{
  const PlanishEqSetting setting = {(PlanishEqType)(band->type - 1), (unsigned)band->order,
                                    (float)band->frequency, (float)band->gain, (float)band->q};
  PlanishEqPrototype prototype;
  planish_eq_prototype(&setting, 2.0 * PLANISH_PI, &prototype);
  return 10.0 * log10(planish_eq_prototype_power(&prototype, hz));
}

static const Band several[] = {
    {MS_EQ_B1_TYPE_PEAKING, 0, 10000.0, 6.0, 1.0, 2},
    {MS_EQ_B1_TYPE_PEAKING, 0, 15000.0, -6.0, 0.7, 2},
    {MS_EQ_B1_TYPE_LOW_SHELF, 0, 120.0, 4.0, 0.7, 2},
    {MS_EQ_B1_TYPE_HIGH_SHELF, 0, 14000.0, 5.0, 0.7, 2},
    {MS_EQ_B1_TYPE_HIGH_PASS, 0, 60.0, 0.0, 0.7071, 8},
    {MS_EQ_B1_TYPE_LOW_PASS, 0, 16000.0, 0.0, 0.7071, 3},
    {MS_EQ_B1_TYPE_TILT, 0, 900.0, -3.0, 0.7071, 2},
};

static void stage_has_the_analog_response(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 96000.0};
  for (int r = 0; r < 2; ++r) {
    StageDriver driver;
    stage_driver_new(&driver, &planish_stage, rates[r]);
    for (size_t b = 0; b < sizeof several / sizeof *several; ++b) {
      put_band(&driver, 2, several[b]);
      Signal signal = impulse_response(&driver, 1.0, 0.0);
      double complex *bins = spectrum(signal.channel[0], LENGTH);
      double worst = 0.0;
      for (size_t i = 1; i <= LENGTH / 2 && (double)i * rates[r] / LENGTH <= 20000.0; ++i) {
        const double hz = (double)i * rates[r] / LENGTH;
        const double wanted = prototype_level(&several[b], hz);
        if (hz >= 20.0 && wanted > -60.0) {
          worst = fmax(worst, fabs(20.0 * log10(cabs(bins[i])) - wanted));
        }
      }
      printf("%6.0f Hz, band %zu: error %.5f dB (goal 0.02)\n", rates[r], b, worst);
      assert_true(worst <= 0.02);
      for (size_t n = 0; n < LENGTH; ++n) {
        assert_true(signal.channel[1][n] == 0.0);
      }
      fftw_free(bins);
      free_signal(&signal);
    }
    stage_driver_free(&driver);
  }
}

/* Bands work on their part alone: H on it, 1 on the other. */
static void bands_work_on_their_channels(void **state)
{
  (void)state;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  Band band = {MS_EQ_B1_TYPE_PEAKING, MS_EQ_B1_CHANNELS_STEREO, 1000.0, 6.0, 1.0, 2};
  put_band(&driver, 0, band);
  Signal plain = impulse_response(&driver, 1.0, 0.0);
  const double *h = plain.channel[0];
  /* Input (left, right) and the share of it that h replaces, as left and right. */
  static const struct {
    int channels;
    double part[2];
  } cases[] = {{MS_EQ_B1_CHANNELS_MID, {0.5, 0.5}},
               {MS_EQ_B1_CHANNELS_SIDE, {0.5, -0.5}},
               {MS_EQ_B1_CHANNELS_LEFT, {1.0, 0.0}},
               {MS_EQ_B1_CHANNELS_RIGHT, {0.0, 0.0}}};
  for (size_t c = 0; c < sizeof cases / sizeof *cases; ++c) {
    band.channels = cases[c].channels;
    put_band(&driver, 0, band);
    Signal signal = impulse_response(&driver, 1.0, 0.0);
    for (int n = 0; n < LENGTH; ++n) {
      const double input = n == 0 ? 1.0 : 0.0;
      const double change = h[n] - input;
      assert_true(fabs(signal.channel[0][n] - input - cases[c].part[0] * change) < 1e-14);
      assert_true(fabs(signal.channel[1][n] - cases[c].part[1] * change) < 1e-14);
    }
    free_signal(&signal);
  }
  free_signal(&plain);
  stage_driver_free(&driver);
}

static void assert_untouched(StageDriver *driver)
{
  Signal signal = noise(4800, 3);
  Signal before = noise(4800, 3);
  run(driver, &signal, 0, 4800);
  for (int c = 0; c < 2; ++c) {
    assert_memory_equal(signal.channel[c], before.channel[c], 4800 * sizeof(double));
  }
  free_signal(&signal);
  free_signal(&before);
}

static void neutral_changes_no_bit(void **state)
{
  (void)state;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  assert_untouched(&driver);
  for (int i = 0; i < BANDS; ++i) {
    static const int types[] = {1, 2, 3, 6};
    put_band(&driver, i, (Band){types[i % 4], i % 5, 100.0 * (i + 1), 0.0, 1.0, 2});
  }
  driver.values[MS_EQ_MONO_BELOW] = 150.0F;
  driver.values[MS_EQ_MONO_AMOUNT] = 0.0F;
  stage_driver_reset(&driver);
  assert_untouched(&driver);
  /* There and back again. */
  for (int i = 0; i < BANDS; ++i) {
    driver.values[i * BAND_STRIDE + MS_EQ_B1_GAIN] = 6.0F;
  }
  driver.values[MS_EQ_MONO_AMOUNT] = 100.0F;
  Signal signal = noise(9600, 4);
  run(&driver, &signal, 0, 4800);
  for (int i = 0; i < BANDS; ++i) {
    driver.values[i * BAND_STRIDE + MS_EQ_B1_GAIN] = 0.0F;
  }
  driver.values[MS_EQ_MONO_BELOW] = 20.0F;
  run(&driver, &signal, 4800, 4800);
  assert_untouched(&driver);
  free_signal(&signal);
  stage_driver_free(&driver);
}

/* The side and mid transfer functions of mono_below at one amount. */
static void measure_fold(double amount, double *octave_under, double *phase, double *flatness)
{
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  const double crossover = 120.0;
  driver.values[MS_EQ_MONO_BELOW] = (float)crossover;
  driver.values[MS_EQ_MONO_AMOUNT] = (float)amount;
  Signal mid = impulse_response(&driver, 1.0, 1.0);
  Signal side = impulse_response(&driver, 1.0, -1.0);
  double complex *m = spectrum(mid.channel[0], LENGTH);
  double complex *s = spectrum(side.channel[0], LENGTH);
  *phase = 0.0;
  *flatness = 0.0;
  for (size_t i = 1; i < LENGTH / 2; ++i) {
    const double hz = (double)i * 48000.0 / LENGTH;
    if (hz >= crossover) {
      *phase = fmax(*phase, fabs(carg(s[i] / m[i])));
    }
    *flatness = fmax(*flatness, fabs(20.0 * log10(cabs(m[i]))));
  }
  *octave_under = 20.0 * log10(cabs(s[(size_t)(0.5 * crossover * LENGTH / 48000.0)]));
  /* A mono signal stays mono, and a pure side signal pure. */
  for (int n = 0; n < LENGTH; ++n) {
    assert_true(mid.channel[0][n] == mid.channel[1][n]);
    assert_true(side.channel[0][n] == -side.channel[1][n]);
  }
  fftw_free(m);
  fftw_free(s);
  free_signal(&mid);
  free_signal(&side);
  stage_driver_free(&driver);
}

static void low_end_folds_in_phase(void **state)
{
  (void)state;
  static const double amounts[] = {100.0, 50.0, 10.0};
  for (int i = 0; i < 3; ++i) {
    double under;
    double phase;
    double flatness;
    measure_fold(amounts[i], &under, &phase, &flatness);
    printf("mono below, %3.0f %%: side an octave under %.2f dB (goal -24), phase against mid %.2g "
           "rad (goal 1e-6), mid flat to %.2g dB\n",
           amounts[i], under, phase, flatness);
    assert_true(phase <= 1e-6);
    assert_true(flatness <= 1e-6);
    if (i == 0) {
      assert_true(under <= -24.0);
    }
  }
}

static double loss_of(double left, double right, double amount)
{
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  driver.values[MS_EQ_MONO_BELOW] = 200.0F;
  driver.values[MS_EQ_MONO_AMOUNT] = (float)amount;
  stage_driver_reset(&driver);
  Signal signal = sine(96000, 50.0, 48000.0);
  for (size_t n = 0; n < signal.length; ++n) {
    signal.channel[0][n] *= left;
    signal.channel[1][n] *= right;
  }
  run(&driver, &signal, 0, signal.length);
  const double loss = (double)driver.values[MS_EQ_MONO_LOSS];
  free_signal(&signal);
  stage_driver_free(&driver);
  return loss;
}

static void loss_is_what_folding_takes(void **state)
{
  (void)state;
  assert_true(loss_of(0.0, 0.0, 100.0) == 0.0);
  assert_true(loss_of(0.5, 0.5, 100.0) == 0.0);
  assert_true(fabs(loss_of(0.5, 0.0, 100.0) - 10.0 * log10(2.0)) < 0.001);
  assert_true(fabs(loss_of(0.5, 0.0, 50.0) - 10.0 * log10(2.0 / 1.25)) < 0.001);
  assert_true(fabs(loss_of(0.5, -0.5, 50.0) - 20.0 * log10(2.0)) < 0.001);
  assert_true(loss_of(0.5, -0.5, 100.0) == 60.0);
}

static double heard_at(int band, double hz, double *side_share)
{
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, 48000.0);
  put_band(&driver, 0, (Band){MS_EQ_B1_TYPE_PEAKING, MS_EQ_B1_CHANNELS_SIDE, 1000.0, 6.0, 2.0, 2});
  put_band(&driver, 1, (Band){MS_EQ_B1_TYPE_LOW_SHELF, 0, 200.0, 3.0, 0.7, 2});
  put_band(&driver, 2, (Band){MS_EQ_B1_TYPE_HIGH_PASS, 0, 100.0, 0.0, 0.7, 4});
  driver.values[MS_EQ_LISTEN_BAND] = (float)band;
  stage_driver_reset(&driver);
  Signal signal = sine(48000, hz, 48000.0);
  memset(signal.channel[1], 0, signal.length * sizeof(double));
  run(&driver, &signal, 0, signal.length);
  double power = 0.0;
  *side_share = 0.0;
  for (size_t n = 24000; n < 48000; ++n) {
    const double left = signal.channel[0][n];
    const double mid = 0.5 * (left + signal.channel[1][n]);
    power += left * left;
    *side_share = fmax(*side_share, fabs(mid));
  }
  free_signal(&signal);
  stage_driver_free(&driver);
  return 10.0 * log10(power / 12000.0);
}

static void regions_are_heard_in_their_channels(void **state)
{
  (void)state;
  double mid;
  assert_true(fabs(heard_at(1, 1000.0, &mid) - 20.0 * log10(0.5)) < 0.01);
  assert_true(mid < 1e-12);
  assert_true(heard_at(1, 100.0, &mid) < -30.0);
  assert_true(fabs(heard_at(2, 30.0, &mid)) < 0.1 && heard_at(2, 4000.0, &mid) < -40.0);
  assert_true(fabs(heard_at(3, 20.0, &mid)) < 0.1 && heard_at(3, 2000.0, &mid) < -40.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(stage_has_the_analog_response),
      cmocka_unit_test(bands_work_on_their_channels),
      cmocka_unit_test(neutral_changes_no_bit),
      cmocka_unit_test(low_end_folds_in_phase),
      cmocka_unit_test(loss_is_what_folding_takes),
      cmocka_unit_test(regions_are_heard_in_their_channels),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
