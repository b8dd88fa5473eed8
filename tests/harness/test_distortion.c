/* The account of distortion against closed forms, and against what was done to the signal. */
#include "tests/harness/distortion_fixture.h"
#include "tests/unit/limiter_fixture.h"

/* The shortest of which there is an account; noise, of which the fit swallows a little, wants more.
 */
#define SECONDS        10.0
#define SECONDS_LONGER 14.0

static Audio music; /* of SECONDS, with room for more */

static double power_of(const Audio *audio)
{
  double sum = 0.0;
  for (size_t n = 0; n < audio->frames; ++n) {
    sum +=
        audio->channel[0][n] * audio->channel[0][n] + audio->channel[1][n] * audio->channel[1][n];
  }
  return sum;
}

/* What the best gain leaves of `after`, in dB re it. */
static double best_gain_null(const Audio *before, const Audio *after)
{
  double product = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < before->frames; ++n) {
      product += before->channel[c][n] * after->channel[c][n];
    }
  }
  const double whole = power_of(after);
  return 10.0 * log10(1.0 - product * product / power_of(before) / whole);
}

/* Clipping sin at c: the fundamental's amplitude is (2/pi)(a + c r), a = asin c, r = sqrt(1 - c^2);
 * the mean square (1/pi)(a - c r) + c^2 (1 - 2 a/pi). What is no fundamental is distortion. */
static double clipped_sine_db(double c)
{
  const double a = asin(c);
  const double r = sqrt(1.0 - c * c);
  const double fundamental = 2.0 / PLANISH_PI * (a + c * r);
  const double power = (a - c * r) / PLANISH_PI + c * c * (1.0 - 2.0 * a / PLANISH_PI);
  return 10.0 * log10(1.0 - 0.5 * fundamental * fundamental / power);
}

static Audio sine_of(double rate)
{
  Audio sine = sound_of((size_t)(SECONDS * rate));
  sine.rate = rate;
  for (size_t n = 0; n < sine.frames; ++n) {
    sine.channel[0][n] = 0.5 * sin(2.0 * PLANISH_PI * 997.0 / rate * (double)n);
    sine.channel[1][n] = sine.channel[0][n];
  }
  return sine;
}

/* Goal: 0.2 dB. */
static void a_clipped_sine_reads_as_its_closed_form(void **state)
{
  (void)state;
  static const double at[] = {0.99, 0.9, 0.7, 0.5};
  static const double known[] = {-50.87, -27.50, -17.31, -12.88};
  /* 997 goes into none of them: every phase of the sine is met, and no harmonic that counts falls
   * on it. */
  static const double rates[] = {24000.0, 24000.0, SOUND_RATE, 24000.0};
  for (int n = 0; n < 4; ++n) {
    Audio sine = sine_of(rates[n]);
    Audio clipped = audio_copy(&sine, 0);
    sound_clip(&clipped, 0.5 * at[n]);
    const double wanted = clipped_sine_db(at[n]);
    assert_true(fabs(wanted - known[n]) < 0.011);
    const PlanishDistortion found = sound_account("997 Hz, clipped", &sine, &clipped);
    printf("    at %.2f: closed form %.2f\n", at[n], wanted);
    assert_true(fabs(found.not_linear - wanted) < 0.2);
    assert_true(fabs(found.distortion - wanted) < 0.2);
    audio_free(&clipped);
    audio_free(&sine);
  }
}

static void what_is_linear_is_no_distortion(void **state)
{
  (void)state;
  Audio after = audio_copy(&music, 0);
  PlanishDistortion found = sound_account("identical", &music, &after);
  assert_true(found.distortion <= -120.0 && found.audible == 0.0);

  sound_bells(after.channel[0], after.frames);
  sound_bells(after.channel[1], after.frames);
  found = sound_account("four gentle bells", &music, &after);
  assert_true(found.not_linear <= -90.0 && found.distortion <= -90.0);
  audio_free(&after);

  after = audio_copy(&music, 0);
  for (int c = 0; c < 2; ++c) {
    memmove(after.channel[c] + 7, after.channel[c], (after.frames - 7) * sizeof(double));
    memset(after.channel[c], 0, 7 * sizeof(double));
  }
  sound_scale(&after, pow(10.0, -3.0 / 20.0));
  found = sound_account("-3 dB and 7 frames late", &music, &after);
  assert_true(found.distortion <= -100.0);
  audio_free(&after);

  after = audio_copy(&music, 0);
  for (int c = 0; c < 2; ++c) {
    const PlanishBiquadCoefs one = sound_high_pass(30.0, 0.54119610014619698);
    const PlanishBiquadCoefs two = sound_high_pass(30.0, 1.3065629648763766);
    sound_filter(after.channel[c], after.frames, &one);
    sound_filter(after.channel[c], after.frames, &two);
  }
  found = sound_account("high pass 30 Hz, 4th order", &music, &after);
  assert_true(found.distortion <= -80.0);
  audio_free(&after);
}

static void filters_of_mid_and_side_and_of_one_channel_are_linear(void **state)
{
  (void)state;
  Audio after = audio_copy(&music, 0);
  sound_to_mid_side(&after);
  sound_bells(after.channel[1], after.frames);
  sound_to_left_right(&after);
  PlanishDistortion found = sound_account("four bells, side", &music, &after);
  assert_true(found.distortion <= -90.0);
  sound_bells(after.channel[0], after.frames);
  found = sound_account("the same, and four on the left", &music, &after);
  assert_true(found.distortion <= -90.0);
  audio_free(&after);
}

static void rings_longer(void **state)
{
  (void)state;
  Audio after = audio_copy(&music, 0);
  const PlanishBiquadCoefs bell = sound_bell(120.0, 12.0, 8.0);
  sound_filter(after.channel[0], after.frames, &bell);
  sound_filter(after.channel[1], after.frames, &bell);
  const PlanishDistortion found = sound_account("bell +12 dB, Q 8, 120 Hz", &music, &after);
  assert_true(found.distortion <= -55.0);
  audio_free(&after);
}

/* Goal: 0.3 dB. */
static void noise_reads_as_what_was_added(void **state)
{
  (void)state;
  const size_t frames = music.frames;
  music.frames = (size_t)(SECONDS_LONGER * SOUND_RATE);
  Audio after = audio_copy(&music, 0);
  uint64_t seed = 99;
  /* Even noise within +-1 has the power 1/3. */
  const double amplitude = 1e-3 * sqrt(3.0 * power_of(&music) / (2.0 * (double)music.frames));
  for (size_t n = 0; n < after.frames; ++n) {
    after.channel[0][n] += amplitude * sound_noise(&seed);
    after.channel[1][n] += amplitude * sound_noise(&seed);
  }
  const PlanishDistortion found = sound_account("white noise at -60 dB", &music, &after);
  music.frames = frames;
  assert_true(fabs(found.distortion + 60.0) < 0.3);
  audio_free(&after);
}

/* Goals: 0.5 dB. What is taken for level is little. A filter leaves no more than a gain; on the
 * invented mix, whose loudest bursts are noise, it finds somewhat more to explain. */
static void clipping_reads_as_its_null(void **state)
{
  (void)state;
  static const double at[] = {0.35, 0.28};
  for (int i = 0; i < 2; ++i) {
    Audio plain = audio_copy(&music, 0);
    sound_clip(&plain, at[i]);
    const double null = best_gain_null(&music, &plain);
    const PlanishDistortion alone = sound_account("clip", &music, &plain);
    printf("    at %.2f: best-gain null %.2f\n", at[i], null);
    assert_true(alone.not_linear < null + 0.02);
    assert_true(alone.not_linear > null - (sound_is_invented ? 0.7 : 0.5));
    assert_true(alone.not_linear - alone.distortion < 2.4);
    Audio after = audio_copy(&music, 0);
    sound_bells(after.channel[0], after.frames);
    sound_bells(after.channel[1], after.frames);
    Audio equal = audio_copy(&after, 0);
    sound_clip(&after, at[i]);
    const PlanishDistortion pair = sound_account("clip after bells", &equal, &after);
    const PlanishDistortion both = sound_account("bells, then clip", &music, &after);
    assert_true(fabs(both.not_linear - pair.not_linear) < 0.5);
    assert_true(fabs(both.distortion - pair.distortion) < 0.5);
    audio_free(&equal);
    audio_free(&after);
    audio_free(&plain);
  }
}

static Audio limited(double drive_db, double *most)
{
  LimiterFixture *limiter = limiter_fixture_new(SOUND_RATE);
  limiter->settings.ceiling = -6.5 - drive_db;
  const uint32_t late = limiter->limiter.latency;
  Audio after = audio_copy(&music, late);
  limiter_fixture_run(limiter, after.channel, 2, after.frames);
  *most = limiter->most;
  for (int c = 0; c < 2; ++c) {
    memmove(after.channel[c], after.channel[c] + late, music.frames * sizeof(double));
  }
  after.frames = music.frames;
  limiter_fixture_free(limiter);
  return after;
}

/* Clipping and limiting are told apart by what the level tier takes. */
static void limiting_is_mostly_level(void **state)
{
  (void)state;
  double last = -HUGE_VAL;
  for (int i = 0; i < 2; ++i) {
    double most;
    Audio after = limited(i == 0 ? 2.2 : 5.1, &most);
    const PlanishDistortion found = sound_account("limiter", &music, &after);
    printf("    %.2f dB of reduction: level takes %.1f dB\n", most,
           found.not_linear - found.distortion);
    assert_true(found.not_linear - found.distortion > 6.0);
    assert_true(found.distortion > last && found.gain_lowest < -most * 0.7);
    last = found.distortion;
    audio_free(&after);
  }
}

static void slow_gain_is_level(void **state)
{
  (void)state;
  static const double hz[] = {0.05, 0.5, 5.0};
  for (int i = 0; i < 3; ++i) {
    Audio after = audio_copy(&music, 0);
    for (size_t n = 0; n < after.frames; ++n) {
      const double db = 1.5 * sin(2.0 * PLANISH_PI * hz[i] / SOUND_RATE * (double)n);
      after.channel[0][n] *= pow(10.0, db / 20.0);
      after.channel[1][n] *= pow(10.0, db / 20.0);
    }
    const PlanishDistortion found = sound_account("gain +-1.5 dB", &music, &after);
    printf("    at %.2f Hz\n", hz[i]);
    assert_true(found.distortion <= -40.0);
    audio_free(&after);
  }
}

static int start(void **state)
{
  music = sound_music(SECONDS_LONGER);
  music.frames = (size_t)(SECONDS * SOUND_RATE);
  return make_folder(state);
}

static int end(void **state)
{
  audio_free(&music);
  return remove_folder(state);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_clipped_sine_reads_as_its_closed_form),
      cmocka_unit_test(what_is_linear_is_no_distortion),
      cmocka_unit_test(filters_of_mid_and_side_and_of_one_channel_are_linear),
      cmocka_unit_test(rings_longer),
      cmocka_unit_test(noise_reads_as_what_was_added),
      cmocka_unit_test(clipping_reads_as_its_null),
      cmocka_unit_test(limiting_is_mostly_level),
      cmocka_unit_test(slow_gain_is_level),
  };
  return cmocka_run_group_tests_name("the account of distortion", tests, start, end);
}
