/* The dynamics stage as the frame drives it: its static curve, times, filters, floor, link. */
#include "tests/unit/dynamics_fixture.h"

#define RATE 48000.0

enum { SECOND = 48000, LATE = 240 };

/* The curve written out again: Giannoulis, Massberg, Reiss, JAES 60 (2012), eq. 4, bounded by
 * r tanh(v / r). */
static double curve(double level, double threshold, double ratio, double knee, double range)
{
  const double over = level - threshold;
  double v = over;
  if (2.0 * over < -knee) {
    v = 0.0;
  } else if (2.0 * fabs(over) <= knee && knee > 0.0) {
    v = (over + 0.5 * knee) * (over + 0.5 * knee) / (2.0 * knee);
  }
  return -range * tanh((1.0 - 1.0 / ratio) * v / range);
}

/* Where the gain stands after half a second of a tone. */
static double settled_gain(StageDriver *driver, double hz, double level, double phase)
{
  enum { FRAMES = SECOND / 2 };
  double *x = dynamics_sine(FRAMES, hz, level, phase);
  double *gain = malloc(FRAMES * sizeof(double));
  stage_driver_reset(driver);
  linked_gain(driver, x, gain, FRAMES);
  const double result = gain[FRAMES - LATE - 100];
  free(x);
  free(gain);
  return result;
}

/* Goal: 0.02 dB, 50 Hz to 10 kHz, at any blend of peak and mean. 10 and 12 kHz meet few phases of
 * the rate: the largest sample alone reads them up to 0.075 and 3 dB low. */
static void the_static_curve_is_the_closed_form(void **state)
{
  (void)state;
  static const double tones[] = {50.0, 63.7, 100.0, 997.0, 5000.0, 10000.0, 12000.0};
  static const float shares[] = {0.0F, 50.0F, 100.0F};
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[DYNAMICS_RATIO] = 10.0F;
  driver.values[DYNAMICS_MAX_ABOVE] = 3.0F;
  driver.values[DYNAMICS_RELEASE] = 5.0F;
  driver.values[DYNAMICS_DEAD_BAND] = 10.0F;
  driver.values[DYNAMICS_MAX_BELOW] = 4.0F;
  double worst = 0.0;
  for (size_t i = 0; i < sizeof tones / sizeof *tones; ++i) {
    for (size_t s = 0; s < 3; ++s) {
      driver.values[DYNAMICS_PEAK_TO_MEAN] = shares[s];
      for (double level = -49.0; level <= 0.0; level += 7.0) {
        const float amount = level < -30.0 ? -70.0F : 70.0F;
        driver.values[DYNAMICS_AMOUNT_BELOW] = amount;
        const double expected =
            curve(level, -18.0, 10.0, 6.0, 3.0) -
            (double)amount / 50.0 *
                curve(-level, 28.0, 2.0, 6.0, 4.0 * 50.0 / fabs((double)amount));
        const double found = settled_gain(&driver, tones[i], level, 0.1309);
        worst = fmax(worst, fabs(found - expected));
      }
    }
  }
  printf("static curve, 50 Hz to 12 kHz, against the closed form: %.2g dB\n", worst);
  assert_true(worst <= 0.02);
  stage_driver_free(&driver);
}

/* Frames from a step of the tone's level to 63.2 % of the gain's way. */
static double time_of_step(StageDriver *driver, double from_db, double to_db, size_t frames)
{
  const size_t step = frames / 2;
  double *x = dynamics_sine(frames, 1000.0, 0.0, 0.0);
  double *gain = malloc(frames * sizeof(double));
  for (size_t n = 0; n < frames; ++n) {
    x[n] *= pow(10.0, (n < step ? from_db : to_db) / 20.0);
  }
  stage_driver_reset(driver);
  linked_gain(driver, x, gain, frames);
  const size_t before = step - 300; /* no look-ahead reaches there */
  const double from = gain[before];
  const double to = gain[frames - LATE - 1];
  size_t n = before;
  while (n < frames - LATE && fabs(gain[n] - from) < (1.0 - exp(-1.0)) * fabs(to - from)) {
    ++n;
  }
  free(x);
  free(gain);
  return ((double)n - (double)step) * 1000.0 / RATE;
}

/* Goal: 10 % of the definition in gain_smoother.h: 63.2 % of the way in dB, the hold left out of
 * the release. For a reduction, a lift and an expansion. */
static void times_are_what_they_say(void **state)
{
  (void)state;
  static const float attacks[] = {2.0F, 10.0F, 60.0F, 200.0F};
  static const float releases[] = {10.0F, 80.0F, 500.0F};
  static const struct {
    const char *what;
    float amount;
    double low;
    double high;
  } kinds[] = {{"reduction", 0.0F, -20.0, -14.0},
               {"lift", 100.0F, -46.0, -35.0},
               {"expansion", -100.0F, -46.0, -35.0}};
  for (size_t k = 0; k < 3; ++k) {
    StageDriver driver;
    stage_driver_new(&driver, &planish_stage, RATE);
    driver.values[DYNAMICS_PEAK_TO_MEAN] = 0.0F;
    driver.values[DYNAMICS_KNEE] = 0.0F;
    driver.values[DYNAMICS_MAX_ABOVE] = 6.0F;
    driver.values[DYNAMICS_MAX_BELOW] = 6.0F;
    driver.values[DYNAMICS_AMOUNT_BELOW] = kinds[k].amount;
    for (size_t i = 0; i < 4; ++i) {
      driver.values[DYNAMICS_ATTACK] = attacks[i];
      driver.values[DYNAMICS_RELEASE] = 5.0F;
      const double found = time_of_step(&driver, kinds[k].low, kinds[k].high, 4 * SECOND);
      printf("%s, attack %3.0f ms: %.2f\n", kinds[k].what, (double)attacks[i], found);
      assert_true(fabs(found / (double)attacks[i] - 1.0) <= 0.1);
    }
    driver.values[DYNAMICS_ATTACK] = 1.0F;
    for (size_t i = 0; i < 3; ++i) {
      driver.values[DYNAMICS_RELEASE] = releases[i];
      const double found = time_of_step(&driver, kinds[k].high, kinds[k].low, 10 * SECOND) - 12.5;
      printf("%s, release %3.0f ms: %.2f after the hold\n", kinds[k].what, (double)releases[i],
             found);
      assert_true(fabs(found / (double)releases[i] - 1.0) <= 0.1);
    }
    stage_driver_free(&driver);
  }
}

/* By how much a kick of 50 Hz moves a tone of 1 kHz. */
static double moved_by_kick(double kick_db, double tone_db, float high_pass, float mean)
{
  enum { FRAMES = 3 * SECOND };
  double *x = dynamics_sine(FRAMES, 1000.0, tone_db, 0.0);
  double *gain = malloc(FRAMES * sizeof(double));
  for (int n = SECOND; n < FRAMES; ++n) {
    const double t = n % (SECOND / 2) / RATE;
    x[n] += pow(10.0, kick_db / 20.0) * exp(-t / 0.12) * sin(2.0 * PLANISH_PI * 50.0 * t);
  }
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[DYNAMICS_DETECTOR_HIGH_PASS] = high_pass;
  driver.values[DYNAMICS_PEAK_TO_MEAN] = mean;
  linked_gain(&driver, x, gain, FRAMES);
  double moved = 0.0;
  for (int n = SECOND; n < FRAMES - LATE; ++n) {
    moved = fmax(moved, fabs(gain[n] - gain[SECOND - 1]));
  }
  stage_driver_free(&driver);
  free(x);
  free(gain);
  return moved;
}

/* Goal: 0.1 dB, below and above the knee, by a kick of -6 dB. */
static void the_high_pass_keeps_a_kick_out(void **state)
{
  (void)state;
  static const double tones[] = {-36.0, -30.0, -24.0, -12.0, -9.0};
  for (size_t i = 0; i < sizeof tones / sizeof *tones; ++i) {
    const double off = moved_by_kick(-6.0, tones[i], 20.0F, 50.0F);
    const double on = moved_by_kick(-6.0, tones[i], 150.0F, 50.0F);
    printf("a kick moves a tone of %.0f dB by %.3f dB; with the high pass at 150 Hz by %.3f dB\n",
           tones[i], off, on);
    assert_true(on <= 0.1);
    assert_true(tones[i] > -20.0 || off > 1.0);
  }
}

/* In the middle of the knee, where a quarter of each decibel counts. 12 dB an octave leave a kick
 * 19 dB down: one of -6 dB beside a tone of -18 dB at -7 dB re the tone. That is 0.8 dB more power
 * and 3.2 dB more peak: were it steady, no reading of the level that adds powers could move by less
 * than 0.2 dB. The mean comes near that, and meets 0.1 dB up to a kick 9 dB over the tone. */
static void a_kick_beside_a_tone_in_the_knee_is_felt(void **state)
{
  (void)state;
  static const struct {
    double kick;
    float mean;
    double most;
  } rows[] = {
      {-6.0, 0.0F, 0.80},   {-6.0, 50.0F, 0.50},  {-6.0, 100.0F, 0.20},  {-9.0, 50.0F, 0.35},
      {-9.0, 100.0F, 0.10}, {-18.0, 50.0F, 0.15}, {-18.0, 100.0F, 0.02},
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
    const double moved = moved_by_kick(rows[i].kick, -18.0, 150.0F, rows[i].mean);
    printf("a kick of %3.0f dB moves a tone of -18 dB, in the knee, by %.3f dB at mean %3.0f %%\n",
           rows[i].kick, moved, (double)rows[i].mean);
    assert_true(moved <= rows[i].most);
  }
}

/* Goal: 0.05 dB at most on noise of -70 dBFS with full lift and a floor of -60 dB; -50 is lifted.
 */
static void hiss_is_not_lifted(void **state)
{
  (void)state;
  enum { FRAMES = 2 * SECOND };
  double *x = malloc(FRAMES * sizeof(double));
  double *gain = malloc(FRAMES * sizeof(double));
  uint64_t seed = 9;
  for (int level = -70; level <= -50; level += 20) {
    for (int share = 0; share <= 100; share += 50) {
      StageDriver driver;
      for (int n = 0; n < FRAMES; ++n) {
        x[n] = pow(10.0, level / 20.0) * sqrt(3.0) * dynamics_noise(&seed);
      }
      stage_driver_new(&driver, &planish_stage, RATE);
      driver.values[DYNAMICS_AMOUNT_BELOW] = 100.0F;
      driver.values[DYNAMICS_MAX_BELOW] = 6.0F;
      driver.values[DYNAMICS_DEAD_BAND] = 0.0F;
      driver.values[DYNAMICS_PEAK_TO_MEAN] = (float)share;
      linked_gain(&driver, x, gain, FRAMES);
      double most = 0.0;
      for (int n = 0; n < FRAMES - LATE; ++n) {
        most = fmax(most, gain[n]);
      }
      printf("noise of %d dBFS, mean %3d %%: up by %.3f dB\n", level, share, most);
      assert_true(level == -70 ? most <= 0.05 : most > 5.5);
      stage_driver_free(&driver);
    }
  }
  free(x);
  free(gain);
}

/* A lift is whole at its floor, half 4 dB under it and gone from 8 dB on, by power: of the louder
 * channel where they are linked, each by its own where not. */
static void a_lift_fades_under_its_floor(void **state)
{
  (void)state;
  enum { FRAMES = SECOND / 2 };
  static const double powers[] = {-60.0, -64.0, -68.0, -75.0};
  static const double shares[] = {1.0, 0.5, 0.0, 0.0};
  double *right = dynamics_sine(FRAMES, 1000.0, -60.0 + 3.0103, 0.0);
  double *out[2] = {malloc(FRAMES * sizeof(double)), malloc(FRAMES * sizeof(double))};
  for (int i = 0; i < 4; ++i) {
    for (int link = 0; link <= 100; link += 100) {
      double *left = dynamics_sine(FRAMES, 1000.0, powers[i] + 3.0103, 0.0);
      StageDriver driver;
      stage_driver_new(&driver, &planish_stage, RATE);
      driver.values[DYNAMICS_AMOUNT_BELOW] = 100.0F;
      driver.values[DYNAMICS_MAX_BELOW] = 2.0F;
      driver.values[DYNAMICS_RELEASE] = 5.0F;
      driver.values[DYNAMICS_LINK] = (float)link;
      dynamics_run(&driver, left, right, out[0], out[1], FRAMES);
      const double gain = 20.0 * log10(out[0][FRAMES - 12] / left[FRAMES - 12 - LATE]);
      printf("power of %.0f dB, link %3d %%: lifted by %.4f dB of 2\n", powers[i], link, gain);
      assert_true(fabs(gain - 2.0 * (link == 0 ? shares[i] : 1.0)) <= 0.001);
      stage_driver_free(&driver);
      free(left);
    }
  }
  free(right);
  free(out[0]);
  free(out[1]);
}

/* Equal peaks, powers of -60 and -80 dB, each channel by its own: one is lifted, one is hiss that
 * clicks. Expanded, both go down, as far under the floor as one likes. */
static void the_floor_is_for_lifts_and_for_each_channel(void **state)
{
  (void)state;
  enum { FRAMES = SECOND / 2 };
  double *in[2] = {malloc(FRAMES * sizeof(double)), malloc(FRAMES * sizeof(double))};
  double *out[2] = {malloc(FRAMES * sizeof(double)), malloc(FRAMES * sizeof(double))};
  for (int n = 0; n < FRAMES; ++n) {
    in[0][n] = 0.001;
    in[1][n] = n % 100 == 0 ? 0.001 : 0.0;
  }
  const int last = (FRAMES - LATE - 1) / 100 * 100;
  for (int lifts = 0; lifts < 2; ++lifts) {
    StageDriver driver;
    stage_driver_new(&driver, &planish_stage, RATE);
    driver.values[DYNAMICS_AMOUNT_BELOW] = lifts ? 100.0F : -100.0F;
    driver.values[DYNAMICS_PEAK_TO_MEAN] = 0.0F;
    driver.values[DYNAMICS_LINK] = 0.0F;
    driver.values[DYNAMICS_RELEASE] = 5.0F;
    dynamics_run(&driver, in[0], in[1], out[0], out[1], FRAMES);
    const double steady = 20.0 * log10(out[0][last + LATE] / 0.001);
    const double clicks = 20.0 * log10(out[1][last + LATE] / 0.001);
    printf("%s: steady %+.4f dB, clicks %+.4f\n", lifts ? "lift" : "expansion", steady, clicks);
    assert_true(fabs(steady - (lifts ? 1.5 : -1.5)) <= 0.001);
    assert_true(fabs(clicks - (lifts ? 0.0 : -1.5)) <= 0.001);
    stage_driver_free(&driver);
  }
  for (int c = 0; c < 2; ++c) {
    free(in[c]);
    free(out[c]);
  }
}

/* A note in the dead band that comes out of silence is not quiet, though the mean still fills. */
static void a_note_out_of_silence_is_not_lifted(void **state)
{
  (void)state;
  enum { FRAMES = SECOND };
  double *x = dynamics_sine(FRAMES, 440.0, -20.0, 0.0);
  double *gain = malloc(FRAMES * sizeof(double));
  memset(x, 0, FRAMES / 2 * sizeof(double));
  for (int share = 0; share <= 100; share += 50) {
    StageDriver driver;
    stage_driver_new(&driver, &planish_stage, RATE);
    driver.values[DYNAMICS_AMOUNT_BELOW] = 100.0F;
    driver.values[DYNAMICS_PEAK_TO_MEAN] = (float)share;
    linked_gain(&driver, x, gain, FRAMES);
    double most = 0.0;
    for (int n = 0; n < FRAMES - LATE; ++n) {
      most = fmax(most, gain[n]);
    }
    printf("a note of -20 dB out of silence, mean %3d %%: lifted by up to %.3f dB\n", share, most);
    assert_true(most <= 0.05);
    stage_driver_free(&driver);
  }
  free(x);
  free(gain);
}

/* Bit-exact where nothing is asked: below the threshold, at ratio 1, with ranges of 0; in every
 * form, with make-up on. */
static void nothing_asked_changes_no_bit(void **state)
{
  (void)state;
  uint64_t seed = 77;
  double *x[2];
  double *y[2];
  for (int c = 0; c < 2; ++c) {
    x[c] = malloc(SECOND * sizeof(double));
    y[c] = malloc(SECOND * sizeof(double));
    for (int n = 0; n < SECOND; ++n) {
      x[c][n] = 0.05 * dynamics_noise(&seed);
    }
  }
  for (int kind = 0; kind < 3; ++kind) {
    for (int type = 0; type < 4; ++type) {
      StageDriver driver;
      stage_driver_new(&driver, &planish_stage, RATE);
      driver.values[DYNAMICS_BAND_TYPE] = (float)type;
      driver.values[DYNAMICS_MAKEUP] = DYNAMICS_MAKEUP_AUTO;
      if (kind > 0) {
        driver.values[DYNAMICS_THRESHOLD] = -60.0F;
        driver.values[kind == 1 ? DYNAMICS_RATIO : DYNAMICS_MAX_ABOVE] = kind == 1 ? 1.0F : 0.0F;
      }
      if (kind == 2) {
        driver.values[DYNAMICS_AMOUNT_BELOW] = 100.0F;
        driver.values[DYNAMICS_MAX_BELOW] = 0.0F;
      }
      dynamics_run(&driver, x[0], x[1], y[0], y[1], SECOND);
      for (int c = 0; c < 2; ++c) {
        assert_memory_equal(y[c] + LATE, x[c], (SECOND - LATE) * sizeof(double));
      }
      assert_true(driver.values[DYNAMICS_GAIN_CHANGE] == 0.0F);
      stage_driver_free(&driver);
    }
  }
  for (int c = 0; c < 2; ++c) {
    free(x[c]);
    free(y[c]);
  }
}

/* Half a second far below the dead band, then half a second far above the threshold: of both the
 * range is told, apart; of the one sign that there is room for, the larger. */
static void cuts_and_lifts_are_told_apart(void **state)
{
  (void)state;
  enum { HALF = SECOND / 2 };
  StageDriver driver;
  double *quiet = dynamics_sine(HALF, 1000.0, -45.0, 0.0);
  double *loud = dynamics_sine(HALF, 1000.0, -3.0, 0.0);
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[DYNAMICS_THRESHOLD] = -20.0F;
  driver.values[DYNAMICS_RATIO] = 4.0F;
  driver.values[DYNAMICS_MAX_ABOVE] = 2.0F;
  driver.values[DYNAMICS_DEAD_BAND] = 6.0F;
  driver.values[DYNAMICS_AMOUNT_BELOW] = 100.0F;
  driver.values[DYNAMICS_MAX_BELOW] = 1.5F;
  dynamics_run(&driver, quiet, NULL, quiet, NULL, HALF);
  dynamics_run(&driver, loud, NULL, loud, NULL, HALF);
  const double lift = (double)driver.values[DYNAMICS_LARGEST_LIFT];
  const double cut = (double)driver.values[DYNAMICS_LARGEST_CUT];
  printf("lift %.3f dB, cut %.3f dB\n", lift, cut);
  assert_true(fabs(lift - 1.5) < 0.05 && fabs(cut - 2.0) < 0.05);
  assert_true((double)driver.values[DYNAMICS_GAIN_CHANGE] == -cut);
  stage_driver_free(&driver);
  free(quiet);
  free(loud);
}

/* A band of 6 kHz beside a tone, 6 dB under it, at two levels 20 dB apart: the relative detector
 * finds it at both, the absolute one at the louder alone. */
static void the_relative_detector_knows_no_level(void **state)
{
  (void)state;
  enum { FRAMES = SECOND };
  double found[2][2];
  for (int relative = 0; relative < 2; ++relative) {
    for (int quiet = 0; quiet < 2; ++quiet) {
      StageDriver driver;
      double *x = dynamics_sine(FRAMES, 300.0, quiet ? -32.0 : -12.0, 0.0);
      double *high = dynamics_sine(FRAMES, 6000.0, quiet ? -38.0 : -18.0, 0.0);
      for (int n = 0; n < FRAMES; ++n) {
        x[n] += high[n];
      }
      stage_driver_new(&driver, &planish_stage, RATE);
      driver.values[DYNAMICS_DETECTOR] = (float)relative;
      driver.values[DYNAMICS_THRESHOLD] = relative ? -15.0F : -25.0F;
      driver.values[DYNAMICS_BAND_TYPE] = DYNAMICS_BAND_TYPE_PEAKING;
      driver.values[DYNAMICS_BAND_FREQ] = 6000.0F;
      driver.values[DYNAMICS_BAND_Q] = 2.0F;
      dynamics_run(&driver, x, NULL, x, NULL, FRAMES);
      found[relative][quiet] = (double)driver.values[DYNAMICS_GAIN_CHANGE];
      stage_driver_free(&driver);
      free(x);
      free(high);
    }
  }
  printf("absolute: %.3f dB, 20 dB down %.3f; relative: %.3f, %.3f\n", found[0][0], found[0][1],
         found[1][0], found[1][1]);
  assert_true(found[0][0] < -1.0 && found[0][1] > -0.1);
  assert_true(found[1][0] < -1.0 && fabs(found[1][1] - found[1][0]) < 0.01);
}

/* The whole is held as the band is: a bass note of 25 Hz leaves no ripple on a relative detector
 * once the hold is long enough for it, though it was not. */
static void the_whole_is_held_as_the_band_is(void **state)
{
  (void)state;
  enum { FRAMES = 2 * SECOND };
  double *x = dynamics_sine(FRAMES, 25.0, -12.0, 0.0);
  double *high = dynamics_sine(FRAMES, 6000.0, -24.0, 0.0);
  for (int n = 0; n < FRAMES; ++n) {
    x[n] += high[n];
  }
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[DYNAMICS_DETECTOR] = DYNAMICS_DETECTOR_RELATIVE;
  driver.values[DYNAMICS_THRESHOLD] = -14.0F;
  driver.values[DYNAMICS_DETECTOR_HIGH_PASS] = 500.0F;
  driver.values[DYNAMICS_PEAK_TO_MEAN] = 0.0F;
  driver.values[DYNAMICS_RELEASE] = 5.0F;
  driver.values[DYNAMICS_ATTACK] = 1.0F;
  double *gain = malloc(SECOND * sizeof(double));
  double ripple[2];
  for (int part = 0; part < 2; ++part) {
    driver.values[DYNAMICS_HOLD] = part == 0 ? 5.0F : 25.0F;
    linked_gain(&driver, x + (size_t)part * SECOND, gain, SECOND);
    double least = 0.0;
    double most = -10.0;
    for (int n = SECOND / 2; n < SECOND - LATE; ++n) {
      least = fmin(least, gain[n]);
      most = fmax(most, gain[n]);
    }
    ripple[part] = most - least;
  }
  free(gain);
  printf("relative, beside 25 Hz: ripple %.3f dB at a hold of 5 ms, %.2g at 25 ms\n", ripple[0],
         ripple[1]);
  assert_true(ripple[0] > 0.2 && ripple[1] <= 0.001);
  stage_driver_free(&driver);
  free(x);
  free(high);
}

/* The output of a second of noise after `seconds` of silence, everything at work. */
static void noise_after_silence(int seconds, double *out)
{
  enum { FRAMES = SECOND };
  StageDriver driver;
  double x[PLANISH_GRID] = {0};
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[DYNAMICS_DETECTOR] = DYNAMICS_DETECTOR_RELATIVE;
  driver.values[DYNAMICS_THRESHOLD] = -10.0F;
  driver.values[DYNAMICS_AMOUNT_BELOW] = 100.0F;
  driver.values[DYNAMICS_BAND_TYPE] = DYNAMICS_BAND_TYPE_HIGH_SHELF;
  driver.values[DYNAMICS_DETECTOR_HIGH_PASS] = 100.0F;
  driver.values[DYNAMICS_MAKEUP] = DYNAMICS_MAKEUP_AUTO;
  for (int n = 0; n < seconds * SECOND; n += PLANISH_GRID) {
    dynamics_run(&driver, x, NULL, x, NULL, PLANISH_GRID);
    assert_true(x[0] == 0.0 && x[PLANISH_GRID - 1] == 0.0);
  }
  assert_true(driver.values[DYNAMICS_GAIN_CHANGE] == 0.0F);
  uint64_t seed = 6;
  for (int n = 0; n < FRAMES; ++n) {
    out[n] = 0.3 * dynamics_noise(&seed);
  }
  dynamics_run(&driver, out, NULL, out, NULL, FRAMES);
  assert_true(driver.values[DYNAMICS_GAIN_CHANGE] != 0.0F);
  stage_driver_free(&driver);
}

/* A digital silence is no sibilance, and however long it was it leaves nothing behind. */
static void silence_is_left_alone(void **state)
{
  (void)state;
  double *out[2] = {malloc(SECOND * sizeof(double)), malloc(SECOND * sizeof(double))};
  noise_after_silence(1, out[0]);
  noise_after_silence(61, out[1]);
  assert_memory_equal(out[0], out[1], SECOND * sizeof(double));
  free(out[0]);
  free(out[1]);
}

/* A burst on the left; the right, 20 dB under the threshold, follows by the link's share. */
static void link_is_a_share_of_the_louder(void **state)
{
  (void)state;
  enum { FRAMES = SECOND };
  double *left = dynamics_sine(FRAMES, 1000.0, -6.0, 0.0);
  double *right = dynamics_sine(FRAMES, 1000.0, -26.0, 0.0);
  double *out[2] = {malloc(FRAMES * sizeof(double)), malloc(FRAMES * sizeof(double))};
  for (int link = 0; link <= 100; link += 50) {
    StageDriver driver;
    stage_driver_new(&driver, &planish_stage, RATE);
    driver.values[DYNAMICS_LINK] = (float)link;
    driver.values[DYNAMICS_MAX_ABOVE] = 6.0F;
    dynamics_run(&driver, left, right, out[0], out[1], FRAMES);
    const double a = 20.0 * log10(out[0][FRAMES - 12] / left[FRAMES - 12 - LATE]);
    const double b = 20.0 * log10(out[1][FRAMES - 12] / right[FRAMES - 12 - LATE]);
    const double level = -6.0 - 20.0 * (1.0 - link / 100.0);
    assert_true(fabs(a - curve(-6.0, -18.0, 2.0, 6.0, 6.0)) < 0.001);
    assert_true(fabs(b - curve(level, -18.0, 2.0, 6.0, 6.0)) < 0.001);
    stage_driver_free(&driver);
  }
  free(left);
  free(right);
  free(out[0]);
  free(out[1]);
}

/* 63 % of an attack of 5 ms, 5 ms early; the latency does not move. */
static void look_ahead_comes_early(void **state)
{
  (void)state;
  float values[DYNAMICS_PORT_COUNT] = {0};
  values[DYNAMICS_LOOKAHEAD] = 3.0F;
  assert_int_equal(planish_stage.latency(RATE, values), LATE);
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[DYNAMICS_PEAK_TO_MEAN] = 0.0F;
  driver.values[DYNAMICS_ATTACK] = 5.0F;
  const double plain = time_of_step(&driver, -20.0, -10.0, SECOND);
  driver.values[DYNAMICS_LOOKAHEAD] = 3.0F;
  const double early = time_of_step(&driver, -20.0, -10.0, SECOND);
  printf("attack of 5 ms: %.2f ms, with a look-ahead of 3 ms %.2f\n", plain, early);
  assert_true(fabs(plain - early - 3.0) < 0.05);
  stage_driver_free(&driver);
}

/* A look-ahead that is set while sound runs: the attack is as early as one that was there before.
 */
static void look_ahead_may_be_set_while_it_runs(void **state)
{
  (void)state;
  enum { FRAMES = SECOND };
  double *gain[2] = {malloc(FRAMES * sizeof(double)), malloc(FRAMES * sizeof(double))};
  for (int later = 0; later < 2; ++later) {
    double *x = dynamics_sine(2 * FRAMES, 1000.0, -10.0, 0.0);
    for (int n = 0; n < FRAMES + FRAMES / 2; ++n) {
      x[n] *= 0.1;
    }
    StageDriver driver;
    stage_driver_new(&driver, &planish_stage, RATE);
    driver.values[DYNAMICS_LOOKAHEAD] = later ? 0.0F : 4.0F;
    linked_gain(&driver, x, gain[later], FRAMES);
    driver.values[DYNAMICS_LOOKAHEAD] = 4.0F;
    linked_gain(&driver, x + FRAMES, gain[later], FRAMES);
    stage_driver_free(&driver);
    free(x);
  }
  assert_memory_equal(gain[0] + FRAMES / 4, gain[1] + FRAMES / 4, (FRAMES / 2) * sizeof(double));
  free(gain[0]);
  free(gain[1]);
}

/* Nothing but the type changes. What is constant is under any low shelf: full or shelf, it is
 * moved alike, all through the change; above a high shelf there is nothing, and so no gain. */
static void a_new_type_is_heard_and_listened_to(void **state)
{
  (void)state;
  enum { FRAMES = SECOND };
  double *x = malloc(FRAMES * sizeof(double));
  double *y = malloc(FRAMES * sizeof(double));
  for (int n = 0; n < FRAMES; ++n) {
    x[n] = 0.5;
  }
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  dynamics_run(&driver, x, NULL, y, NULL, FRAMES);
  const double moved = y[FRAMES - 1];
  assert_true(moved < 0.5 * pow(10.0, -1.3 / 20.0));
  driver.values[DYNAMICS_BAND_TYPE] = DYNAMICS_BAND_TYPE_LOW_SHELF;
  dynamics_run(&driver, x, NULL, y, NULL, FRAMES);
  double furthest = 0.0;
  for (int n = 0; n < FRAMES; ++n) {
    furthest = fmax(furthest, fabs(y[n] - moved));
  }
  driver.values[DYNAMICS_BAND_TYPE] = DYNAMICS_BAND_TYPE_HIGH_SHELF;
  dynamics_run(&driver, x, NULL, y, NULL, FRAMES);
  printf("full to low shelf, under a constant: off by up to %.2g; above a high shelf %.2g\n",
         furthest, fabs(y[FRAMES - 1] - 0.5));
  assert_true(furthest <= 1e-4);
  dynamics_run(&driver, x, NULL, y, NULL, FRAMES);
  dynamics_run(&driver, x, NULL, y, NULL, FRAMES);
  assert_true(driver.values[DYNAMICS_GAIN_CHANGE] == 0.0F);
  stage_driver_free(&driver);
  free(x);
  free(y);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_static_curve_is_the_closed_form),
      cmocka_unit_test(times_are_what_they_say),
      cmocka_unit_test(the_high_pass_keeps_a_kick_out),
      cmocka_unit_test(a_kick_beside_a_tone_in_the_knee_is_felt),
      cmocka_unit_test(hiss_is_not_lifted),
      cmocka_unit_test(a_lift_fades_under_its_floor),
      cmocka_unit_test(the_floor_is_for_lifts_and_for_each_channel),
      cmocka_unit_test(a_note_out_of_silence_is_not_lifted),
      cmocka_unit_test(nothing_asked_changes_no_bit),
      cmocka_unit_test(cuts_and_lifts_are_told_apart),
      cmocka_unit_test(the_relative_detector_knows_no_level),
      cmocka_unit_test(the_whole_is_held_as_the_band_is),
      cmocka_unit_test(silence_is_left_alone),
      cmocka_unit_test(link_is_a_share_of_the_louder),
      cmocka_unit_test(look_ahead_comes_early),
      cmocka_unit_test(look_ahead_may_be_set_while_it_runs),
      cmocka_unit_test(a_new_type_is_heard_and_listened_to),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
