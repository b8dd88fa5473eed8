/* Bands of the equaliser that move with their level: how far, how fast, how cleanly. */
#include "common/dsp/gain_smoother.h"
#include "tests/unit/ms_eq_moving_fixture.h"
#include "tests/unit/stems.h"
#include "tests/unit/tone_fit.h"

#define PROBE 1e-6

/* The curve written out again: Giannoulis, Massberg, Reiss, JAES 60 (2012), eq. 4, at 2:1 with a
 * knee of 6 dB, bounded by r tanh(v / r). */
static double curve(double level, double threshold, double move)
{
  const double over = level - threshold;
  double v = over;
  if (2.0 * over < -6.0) {
    v = 0.0;
  } else if (2.0 * fabs(over) <= 6.0) {
    v = (over + 3.0) * (over + 3.0) / 12.0;
  }
  return move * tanh(0.5 * v / fabs(move));
}

/* Gain in dB of a tone of `level` on its last half second of one, and what is left beside it. */
static double gain_at(const Moving *moving, double hz, double level, double *rest_db)
{
  StageDriver driver = driver_with(moving);
  Signal signal = sine(RATE, hz, RATE);
  for (size_t n = 0; n < signal.length; ++n) {
    signal.channel[0][n] *= pow(10.0, level / 20.0);
    signal.channel[1][n] = 0.0;
  }
  run(&driver, &signal, 0, signal.length);
  const ToneFit found = tone_fit(signal.channel[0] + RATE / 2, RATE / 2, hz, RATE);
  *rest_db = found.rest_db;
  free_signal(&signal);
  stage_driver_free(&driver);
  return 20.0 * log10(found.amplitude) - level;
}

/* What the detector's filter leaves of the tone, dB: Butterworth of second order for the shelves,
 * with the bilinear transform's frequencies. */
static double region_level(const Moving *moving, double hz)
{
  const double ratio =
      tan(PLANISH_PI * hz / RATE) / tan(PLANISH_PI * moving->band.frequency / RATE);
  switch (moving->band.type) {
  case MS_EQ_B1_TYPE_LOW_SHELF:
    return -10.0 * log10(1.0 + pow(ratio, 4.0));
  case MS_EQ_B1_TYPE_HIGH_SHELF:
    return -10.0 * log10(1.0 + pow(ratio, -4.0));
  case MS_EQ_B1_TYPE_PEAKING: {
    const double off = moving->band.q * (ratio - 1.0 / ratio);
    return -10.0 * log10(1.0 + off * off);
  }
  default:
    return 0.0;
  }
}

static double analog_gain(const Band *band, double gain, double hz)
{
  const PlanishEqSetting setting = {(PlanishEqType)(band->type - 1), 2, band->frequency, gain,
                                    band->q};
  PlanishEqPrototype prototype;
  planish_eq_prototype(&setting, RATE, &prototype);
  return 10.0 * log10(planish_eq_prototype_power(&prototype, 2.0 * PLANISH_PI * hz / RATE));
}

/* Goal: 0.05 dB, at the band's centre and beside it. */
static void the_static_curve_is_the_closed_form(void **state)
{
  (void)state;
  static const struct {
    Band band;
    double hz;
  } bands[] = {
      {{MS_EQ_B1_TYPE_PEAKING, 0, 60.0, 0.0, 0.7, 2}, 60.0},
      {{MS_EQ_B1_TYPE_PEAKING, 0, 997.0, 2.0, 1.0, 2}, 997.0},
      {{MS_EQ_B1_TYPE_PEAKING, MS_EQ_B1_CHANNELS_LEFT, 3001.0, -3.0, 4.0, 2}, 3001.0},
      {{MS_EQ_B1_TYPE_PEAKING, 0, 12000.0, 1.0, 2.0, 2}, 12000.0},
      {{MS_EQ_B1_TYPE_PEAKING, 0, 997.0, 0.0, 1.0, 2}, 1500.0},
      {{MS_EQ_B1_TYPE_LOW_SHELF, 0, 150.0, 0.0, 0.7071, 2}, 50.0},
      {{MS_EQ_B1_TYPE_LOW_SHELF, 0, 150.0, 1.0, 0.7071, 2}, 150.0},
      {{MS_EQ_B1_TYPE_HIGH_SHELF, 0, 6000.0, -1.0, 0.7071, 2}, 10007.0},
      {{MS_EQ_B1_TYPE_TILT, 0, 800.0, 0.0, 0.7071, 2}, 4001.0},
  };
  static const double moves[] = {-6.0, -1.5, 1.5, 4.0};
  double worst = 0.0;
  for (size_t i = 0; i < sizeof bands / sizeof *bands; ++i) {
    for (size_t m = 0; m < 4; ++m) {
      for (double level = -33.0; level <= 0.0; level += 5.5) {
        const Moving moving = {bands[i].band, moves[m], -20.0, 10.0, 20.0};
        double rest;
        const double detected = level + region_level(&moving, bands[i].hz);
        const double gain = moving.band.gain + curve(detected, -20.0, moves[m]);
        const double expected = analog_gain(&moving.band, gain, bands[i].hz);
        const double error = gain_at(&moving, bands[i].hz, level, &rest) - expected;
        worst = fmax(worst, fabs(error));
      }
    }
  }
  printf("static curve of peaks, shelves and tilt against the closed form: %.4f dB (goal 0.05)\n",
         worst);
  assert_true(worst <= 0.05);
}

/* Mid and side hear what they work on: a tone in one of them moves only a band on that. */
static void channels_hear_their_own(void **state)
{
  (void)state;
  static const double signs[] = {1.0, -1.0};
  for (int s = 0; s < 2; ++s) {
    for (int channels = MS_EQ_B1_CHANNELS_STEREO; channels <= MS_EQ_B1_CHANNELS_RIGHT; ++channels) {
      const Moving moving = {
          {MS_EQ_B1_TYPE_PEAKING, channels, 1000.0, 0.0, 1.0, 2}, -3.0, -20.0, 10.0, 80.0};
      StageDriver driver = driver_with(&moving);
      Signal signal = sine(RATE / 2, 1000.0, RATE);
      for (size_t n = 0; n < signal.length; ++n) {
        signal.channel[0][n] *= 0.25;
        signal.channel[1][n] *= 0.25 * signs[s];
      }
      run(&driver, &signal, 0, signal.length);
      const bool hears = channels == MS_EQ_B1_CHANNELS_MID    ? s == 0
                         : channels == MS_EQ_B1_CHANNELS_SIDE ? s == 1
                                                              : true;
      const double wanted = hears ? curve(20.0 * log10(0.25), -20.0, -3.0) : 0.0;
      assert_true(fabs((double)driver.values[MS_EQ_LARGEST_MOVE] - wanted) < 0.005);
      free_signal(&signal);
      stage_driver_free(&driver);
    }
  }
}

/* The movement frame by frame: a low shelf over nearly all of the spectrum, whose louder channel
 * moves it, while a small constant in the other one takes its gain. */
static double *movement(StageDriver *driver, const double *x, size_t frames)
{
  Signal signal = new_signal(frames);
  double *gain = calloc(frames, sizeof(double));
  assert_non_null(gain);
  for (size_t n = 0; n < frames; ++n) {
    signal.channel[0][n] = x[n];
    signal.channel[1][n] = PROBE;
  }
  run(driver, &signal, 0, frames);
  for (size_t n = 0; n < frames; ++n) {
    gain[n] = 20.0 * log10(signal.channel[1][n] / PROBE);
  }
  free_signal(&signal);
  return gain;
}

static const Band wide = {MS_EQ_B1_TYPE_LOW_SHELF, 0, 12000.0, 0.0, 0.7071, 2};

/* ms from a step of the tone's level to 63.2 % of the gain's way. */
static double time_of_step(double move, double attack, double release, double from_db, double to_db)
{
  enum { FRAMES = 8 * RATE, STEP = FRAMES / 2 };
  StageDriver driver = driver_with(&(Moving){wide, move, -20.0, attack, release});
  double *x = calloc(FRAMES, sizeof(double));
  assert_non_null(x);
  for (size_t n = 0; n < FRAMES; ++n) {
    x[n] = pow(10.0, (n < STEP ? from_db : to_db) / 20.0) *
           sin(2.0 * PLANISH_PI * 1000.0 / RATE * (double)n);
  }
  double *gain = movement(&driver, x, FRAMES);
  const double from = gain[STEP - 1];
  const double to = gain[FRAMES - 1];
  size_t n = STEP;
  while (n < FRAMES && fabs(gain[n] - from) < (1.0 - exp(-1.0)) * fabs(to - from)) {
    ++n;
  }
  free(gain);
  free(x);
  stage_driver_free(&driver);
  return (double)(n - STEP) * 1000.0 / RATE;
}

/* Goal: 10 % of the definition in gain_smoother.h; the release begins after the hold, 25 ms under a
 * low shelf. */
static void times_are_what_they_say(void **state)
{
  (void)state;
  static const double attacks[] = {2.0, 5.0, 10.0, 60.0, 200.0};
  static const double releases[] = {10.0, 80.0, 500.0};
  for (double move = -3.0; move <= 3.0; move += 6.0) {
    for (size_t i = 0; i < 5; ++i) {
      const double found = time_of_step(move, attacks[i], 5.0, -40.0, -10.0);
      printf("move %+.0f dB, attack %3.0f ms: %.2f\n", move, attacks[i], found);
      assert_true(fabs(found / attacks[i] - 1.0) <= 0.1);
    }
    for (size_t i = 0; i < 3; ++i) {
      const double found = time_of_step(move, 1.0, releases[i], -10.0, -40.0) - 25.0;
      printf("move %+.0f dB, release %3.0f ms: %.2f after the hold\n", move, releases[i], found);
      assert_true(fabs(found / releases[i] - 1.0) <= 0.1);
    }
  }
}

static void check_bound(const char *what, const double *x, size_t frames, double move)
{
  StageDriver driver = driver_with(&(Moving){wide, move, -40.0, 0.5, 20.0});
  double *gain = movement(&driver, x, frames);
  double most = 0.0;
  double wrong_way = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    const double along = move < 0.0 ? -gain[n] : gain[n];
    most = fmax(most, along);
    wrong_way = fmax(wrong_way, -along);
  }
  const double told = fabs((double)driver.values[MS_EQ_LARGEST_MOVE]);
  printf("%s, move %+.1f dB: at most %.7f, the other way %.2g, port %.7f\n", what, move, most,
         wrong_way, told);
  /* The taps of the correction smear the trace by some 1e-8 dB. */
  assert_true(most <= fabs(move) + 1e-6 && most > 0.9 * fabs(move));
  assert_true(wrong_way <= 1e-6);
  assert_true(told <= fabs(move));
  free(gain);
  stage_driver_free(&driver);
}

/* Goal: never passed, on walks of level over 100 dB and on music. */
static void the_move_is_never_passed(void **state)
{
  (void)state;
  enum { FRAMES = 10 * RATE };
  double *x = calloc(FRAMES, sizeof(double));
  assert_non_null(x);
  uint32_t seed = 3;
  double level = -40.0;
  for (size_t n = 0; n < FRAMES; ++n) {
    level = fmin(fmax(level + 2.0 * (uniform(&seed) - 0.5), -100.0), 6.0);
    x[n] = pow(10.0, level / 20.0) * 2.0 * (uniform(&seed) - 0.5);
  }
  check_bound("random walk", x, FRAMES, -1.5);
  check_bound("random walk", x, FRAMES, 6.0);
  free(x);
  Audio mix;
  if (!stems_read(&mix, 1)) {
    print_message("skipped: music (no stems)\n");
    return;
  }
  const size_t frames = mix.frames < FRAMES ? mix.frames : FRAMES;
  check_bound("stems 1", mix.channel[0], frames, -1.5);
  check_bound("stems 1", mix.channel[0], frames, 3.0);
  audio_free(&mix);
}

/* Curve and smoothing on the plain magnitude, for comparison. */
static double of_rectified(double hz, double level, double threshold, double move, double release)
{
  Signal signal = sine(RATE, hz, RATE);
  const PlanishGainCurve law = {
      .threshold = threshold, .slope_above = 0.5, .knee = 6.0, .range_above = fabs(move)};
  const PlanishGainTimes times = planish_gain_times(10.0, release, RATE);
  PlanishGainSmoother smoother = {0};
  double *x = signal.channel[0];
  for (size_t n = 0; n < signal.length; ++n) {
    x[n] *= pow(10.0, level / 20.0);
    const PlanishGainParts target = planish_gain_curve_at(&law, planish_level_of(fabs(x[n])));
    x[n] *= planish_gain_of(-planish_gain_smoother_next(&smoother, &times, target).above);
  }
  const double rest = tone_fit(x + RATE / 2, RATE / 2, hz, RATE).rest_db;
  free_signal(&signal);
  return rest;
}

/* Goal: -100 dB of anything but the tone, under a low shelf that a tone moves by some 1.5 dB;
 * tones of whole hertz and such as share no period with the rate. A rectified detector must not
 * pass. */
static void tones_are_clean(void **state)
{
  (void)state;
  static const double tones[] = {20.5, 30.87, 41.2034, 50.0, 63.7354, 100.0};
  static const double releases[] = {10.0, 80.0, 200.0};
  for (size_t i = 0; i < sizeof tones / sizeof *tones; ++i) {
    for (size_t r = 0; r < 3; ++r) {
      const Moving moving = {
          {MS_EQ_B1_TYPE_LOW_SHELF, 0, 200.0, 0.0, 0.7071, 2}, -3.0, -10.0, 10.0, releases[r]};
      double rest;
      const double gain = gain_at(&moving, tones[i], -6.0, &rest);
      const double rectified = of_rectified(tones[i], -6.0, -10.0, -3.0, releases[r]);
      printf("%7.3f Hz, release %3.0f ms, moved by %.2f dB: %.1f dB; rectified %.1f\n", tones[i],
             releases[r], gain, rest, rectified);
      assert_true(gain < -1.3 && gain > -2.0);
      assert_true(rest <= -100.0);
      assert_true(rectified > -80.0);
    }
  }
}

/* A tilt listens to the bottom as well: its pivot may be anywhere. */
static void a_tilt_is_clean_to_the_bottom(void **state)
{
  (void)state;
  const Moving moving = {{MS_EQ_B1_TYPE_TILT, 0, 800.0, 0.0, 0.7071, 2}, 4.0, -10.0, 10.0, 10.0};
  double rest;
  const double gain = gain_at(&moving, 20.5, -6.0, &rest);
  printf("20.5 Hz under a tilt, moved by %.2f dB: %.1f dB\n", gain, rest);
  assert_true(gain < -0.5);
  assert_true(rest <= -100.0);
}

/* The same for peaks and a high shelf, on tones of which the detector sees a few phases only. */
static void steady_tones_are_not_modulated(void **state)
{
  (void)state;
  static const struct {
    Band band;
    double hz;
  } cases[] = {
      {{MS_EQ_B1_TYPE_PEAKING, 0, 80.0, 1.0, 2.0, 2}, 77.7821},
      {{MS_EQ_B1_TYPE_PEAKING, 0, 440.0, 0.0, 1.0, 2}, 439.8217},
      {{MS_EQ_B1_TYPE_PEAKING, 0, 3000.0, 0.0, 1.0, 2}, 3133.963},
      {{MS_EQ_B1_TYPE_HIGH_SHELF, 0, 6000.0, 0.0, 0.7071, 2}, 9973.17},
      {{MS_EQ_B1_TYPE_PEAKING, 0, 12000.0, 0.0, 1.0, 2}, 11999.0},
  };
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    double rest;
    const Moving moving = {cases[i].band, 3.0, -10.0, 10.0, 10.0};
    gain_at(&moving, cases[i].hz, -6.0, &rest);
    printf("%9.3f Hz: %.1f dB beside the tone (goal -100)\n", cases[i].hz, rest);
    assert_true(rest <= -100.0);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_static_curve_is_the_closed_form),
      cmocka_unit_test(channels_hear_their_own),
      cmocka_unit_test(times_are_what_they_say),
      cmocka_unit_test(the_move_is_never_passed),
      cmocka_unit_test(tones_are_clean),
      cmocka_unit_test(a_tilt_is_clean_to_the_bottom),
      cmocka_unit_test(steady_tones_are_not_modulated),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
