/* What counts as a gain that moves, and which gains are told: tones and noise whose gains are
 * known, at 16 kHz, since the tiers keep their time at every rate. */
#include "tests/harness/distortion_fixture.h"

#define RATE    16000.0
#define SECONDS 11.0

/* Two tones, of which the second's gain moves by +-2 dB at 0.7 Hz. */
static PlanishDistortion one_of_two_moves(double still, double moving)
{
  Audio before = sound_of((size_t)(SECONDS * RATE));
  before.rate = RATE;
  Audio after = sound_of(before.frames);
  after.rate = RATE;
  for (size_t n = 0; n < before.frames; ++n) {
    const double t = (double)n / RATE;
    const double a = 0.1 * sin(2.0 * PLANISH_PI * still * t);
    const double b = 0.1 * sin(2.0 * PLANISH_PI * moving * t);
    const double gain = pow(10.0, 2.0 * sin(2.0 * PLANISH_PI * 0.7 * t) / 20.0);
    for (int c = 0; c < 2; ++c) {
      before.channel[c][n] = a + b;
      after.channel[c][n] = a + gain * b;
    }
  }
  const PlanishDistortion found = sound_account("one of two tones moves", &before, &after);
  printf("    %.0f Hz stands, %.0f Hz moves: distortion %.1f dB\n", still, moving,
         found.distortion);
  audio_free(&before);
  audio_free(&after);
  return found;
}

/* Apart where an edge of the bands (200, 800, 3200 Hz) lies between the tones; together where none
 * does, and then one gain cannot follow. */
static void the_bands_have_their_edges(void **state)
{
  (void)state;
  static const double apart[][2] = {
      {110.0, 300.0}, {300.0, 110.0}, {650.0, 1000.0}, {2700.0, 3800.0}, {3800.0, 2700.0}};
  static const double together[][2] = {{260.0, 650.0}, {1000.0, 2700.0}, {3800.0, 6000.0}};
  for (size_t n = 0; n < sizeof apart / sizeof *apart; ++n) {
    assert_true(one_of_two_moves(apart[n][0], apart[n][1]).distortion < -40.0);
  }
  for (size_t n = 0; n < sizeof together / sizeof *together; ++n) {
    assert_true(one_of_two_moves(together[n][0], together[n][1]).distortion > -25.0);
  }
}

/* Noise in both channels, of which `level` gives the level in dB over time, and `gain` the gain in
 * dB that `after` has; `hiss` dB of other noise is added to it all along. */
static PlanishDistortion noise_through(const char *what, double (*level)(double t),
                                       double (*gain)(double t), double hiss)
{
  Audio before = sound_of((size_t)(SECONDS * RATE));
  before.rate = RATE;
  Audio after = sound_of(before.frames);
  after.rate = RATE;
  uint64_t seed = 3;
  for (size_t n = 0; n < before.frames; ++n) {
    const double t = (double)n / RATE;
    for (int c = 0; c < 2; ++c) {
      const double x = 0.1 * pow(10.0, level(t) / 20.0) * sound_noise(&seed);
      const double other = 0.1 * pow(10.0, hiss / 20.0) * sound_noise(&seed);
      before.channel[c][n] = x;
      after.channel[c][n] = pow(10.0, gain(t) / 20.0) * x + other;
    }
  }
  const PlanishDistortion found = sound_account(what, &before, &after);
  printf("    gains told %.3f to %.3f dB, mean %.3f; distortion %.1f dB\n", found.gain_lowest,
         found.gain_highest, found.gain_mean, found.distortion);
  audio_free(&before);
  audio_free(&after);
  return found;
}

static double none(double t)
{
  (void)t;
  return 0.0;
}

static double swing(double t)
{
  return 1.5 * sin(2.0 * PLANISH_PI * 0.5 * t);
}

static double pauses(double t)
{
  return fmod(t, 2.0) < 1.0 ? 0.0 : -30.0;
}

static double soft_passages(double t)
{
  return fmod(t, 2.0) < 1.0 ? 0.0 : -20.0;
}

static double up_when_soft(double t)
{
  return fmod(t, 2.0) < 1.05 || fmod(t, 2.0) > 1.95 ? 0.0 : 2.0;
}

static void a_known_gain_is_told(void **state)
{
  (void)state;
  const PlanishDistortion found = noise_through("noise +-1.5 dB", none, swing, -60.0);
  /* Re the linear tier, which holds the mean gain: over 0 dB for a swing that is even in dB. */
  assert_true(fabs(found.gain_lowest + 1.5) < 0.2 && fabs(found.gain_highest - 1.5) < 0.2);
  assert_true(fabs(found.gain_mean - 1.5 * 2.0 / PLANISH_PI) < 0.1);
  assert_true(found.distortion < -40.0);
}

/* With as much noise beside it as the gain changes, the gain is still what explains it best. */
static void a_gain_under_noise_is_told(void **state)
{
  (void)state;
  const PlanishDistortion found = noise_through("noise +-1.5 dB, hiss -19 dB", none, swing, -19.0);
  assert_true(found.gain_highest > 1.0 && found.gain_lowest < -1.0);
  assert_true(found.gain_mean > 0.7);
}

/* The left alone moves, as where a limiter's channels are not linked. */
static void gains_of_left_and_right_are_gains_too(void **state)
{
  (void)state;
  Audio before = sound_of((size_t)(SECONDS * RATE));
  before.rate = RATE;
  Audio after = sound_of(before.frames);
  after.rate = RATE;
  uint64_t seed = 5;
  for (size_t n = 0; n < before.frames; ++n) {
    for (int c = 0; c < 2; ++c) {
      before.channel[c][n] = 0.1 * sound_noise(&seed);
      after.channel[c][n] = before.channel[c][n];
    }
    after.channel[0][n] *= pow(10.0, swing((double)n / RATE) / 20.0);
  }
  const PlanishDistortion found = sound_account("the left +-1.5 dB", &before, &after);
  assert_true(found.not_linear > -25.0 && found.distortion < -40.0);
  assert_true(fabs(found.gain_highest - 1.5) < 0.2);
  audio_free(&before);
  audio_free(&after);
}

/* Any noise gives some gain or other that helps a little: that is chance, and none is told. */
static void chance_is_no_gain(void **state)
{
  (void)state;
  const PlanishDistortion found = noise_through("hiss alone", none, none, -20.0);
  assert_true(found.gain_lowest == 0.0 && found.gain_highest == 0.0 && found.gain_mean == 0.0);
}

/* In pauses a little hiss looks like a gain: what is 10 dB under the mean is not told. */
static void pauses_are_not_told(void **state)
{
  (void)state;
  const PlanishDistortion found = noise_through("pauses", pauses, up_when_soft, -80.0);
  assert_true(fabs(found.gain_highest) < 0.1 && fabs(found.gain_lowest) < 0.1);
}

/* They are explained all the same: what is 20 dB down counts as gain, not as distortion. */
static void soft_passages_are_followed(void **state)
{
  (void)state;
  const PlanishDistortion found =
      noise_through("soft passages 2 dB up", soft_passages, up_when_soft, -90.0);
  assert_true(found.not_linear > -40.0 && found.distortion < -43.0);
}

static int start(void **state)
{
  return make_folder(state);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_bands_have_their_edges),
      cmocka_unit_test(a_known_gain_is_told),
      cmocka_unit_test(a_gain_under_noise_is_told),
      cmocka_unit_test(gains_of_left_and_right_are_gains_too),
      cmocka_unit_test(chance_is_no_gain),
      cmocka_unit_test(pauses_are_not_told),
      cmocka_unit_test(soft_passages_are_followed),
  };
  return cmocka_run_group_tests(tests, start, remove_folder);
}
