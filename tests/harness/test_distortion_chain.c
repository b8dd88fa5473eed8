/* What an account of a chain promises beside its figures: its stretch, its refusals, the same
 * figures however it is run, two channels of any kind, other rates. Most of it at 8 kHz, where it
 * is quick. */
#include "tests/harness/distortion_fixture.h"

#include "harness/distortion/distortion_json.h"

static const double rate = 8000.0;

/* Two channels of noise that swells and fades, alike in part. */
static Audio swelling(double seconds, double at_rate)
{
  Audio audio = sound_of((size_t)(seconds * at_rate));
  audio.rate = at_rate;
  uint64_t seed = 3;
  for (size_t n = 0; n < audio.frames; ++n) {
    const double level = 0.15 + 0.1 * sin(2.0 * PLANISH_PI * 0.7 / at_rate * (double)n);
    const double both = sound_noise(&seed);
    audio.channel[0][n] = level * (both + 0.5 * sound_noise(&seed));
    audio.channel[1][n] = level * (both + 0.5 * sound_noise(&seed));
  }
  return audio;
}

static void add_noise(Audio *audio, size_t from, size_t to, double amplitude)
{
  uint64_t seed = 77;
  for (size_t n = from; n < to; ++n) {
    audio->channel[0][n] += amplitude * sound_noise(&seed);
    audio->channel[1][n] += amplitude * sound_noise(&seed);
  }
}

static void same(double a, double b)
{
  assert_memory_equal(&a, &b, sizeof a);
}

static void expect_same(const PlanishDistortion *a, const PlanishDistortion *b)
{
  assert_int_equal(a->status, b->status);
  same(a->before.loudness, b->before.loudness);
  same(a->after.true_peak, b->after.true_peak);
  same(a->loudness_won, b->loudness_won);
  same(a->gain_lowest, b->gain_lowest);
  same(a->gain_highest, b->gain_highest);
  same(a->gain_mean, b->gain_mean);
  same(a->not_linear, b->not_linear);
  same(a->level, b->level);
  same(a->distortion, b->distortion);
  same(a->audible, b->audible);
  same(a->nmr_p95, b->nmr_p95);
}

static void the_figures_are_the_same_with_two_threads(void **state)
{
  (void)state;
  PlanishTrack *tracks[4];
  Audio audio = swelling(11.0, rate);
  static const double clips[] = {1.0, 0.3, 0.2, 0.15};
  for (int n = 0; n < 4; ++n) {
    sound_clip(&audio, clips[n]);
    tracks[n] = sound_track(&audio);
  }
  PlanishError error = {0};
  PlanishDistortion stages[2][3];
  PlanishDistortion whole[2];
  for (unsigned n = 0; n < 2; ++n) {
    assert_true(
        planish_distortion_chain(tracks, 3, rate, n + 1, NULL, NULL, stages[n], &whole[n], &error));
    sound_print("chain of three clips", &whole[n]);
  }
  expect_same(&whole[0], &whole[1]);
  PlanishDistortion alone;
  for (int n = 0; n < 3; ++n) {
    expect_same(&stages[0][n], &stages[1][n]);
    assert_true(planish_distortion_pair(tracks[n], tracks[n + 1], rate, &alone, &error));
    expect_same(&stages[0][n], &alone);
  }
  assert_true(planish_distortion_pair(tracks[0], tracks[3], rate, &alone, &error));
  expect_same(&whole[0], &alone);
  /* Loudness won adds up along a chain. */
  assert_true(fabs(stages[0][0].loudness_won + stages[0][1].loudness_won +
                   stages[0][2].loudness_won - whole[0].loudness_won) < 1e-9);
  for (int n = 0; n < 4; ++n) {
    planish_track_free(tracks[n]);
  }
  audio_free(&audio);
}

static void under_ten_seconds_there_is_no_account(void **state)
{
  (void)state;
  Audio audio = swelling(10.0, rate);
  Audio after = audio_copy(&audio, 0);
  add_noise(&after, 0, after.frames, 0.01);
  assert_int_equal(sound_account("10 s", &audio, &after).status, PLANISH_DISTORTION_DONE);
  --audio.frames;
  --after.frames;
  const PlanishDistortion found = sound_account("a frame less", &audio, &after);
  assert_int_equal(found.status, PLANISH_DISTORTION_TOO_SHORT);
  assert_true(isnan(found.distortion) && isnan(found.audible) && isfinite(found.loudness_won));
  assert_false(planish_distortion_ruins(&found));
  assert_non_null(strstr(planish_distortion_words(found.status), "10 s"));
  audio_free(&audio);
  audio_free(&after);
}

static void silence_has_no_account(void **state)
{
  (void)state;
  Audio audio = swelling(11.0, rate);
  Audio silence = sound_of(audio.frames);
  silence.rate = rate;
  PlanishDistortion found = sound_account("silent after", &audio, &silence);
  assert_int_equal(found.status, PLANISH_DISTORTION_SILENT);
  assert_true(isnan(found.distortion) && isnan(found.loudness_won));
  found = sound_account("silent before", &silence, &audio);
  assert_int_equal(found.status, PLANISH_DISTORTION_SILENT);
  audio_free(&audio);
  audio_free(&silence);
}

/* The loudest 120 s are looked at, and nothing beside them. */
static void a_long_file_is_judged_where_it_is_loudest(void **state)
{
  (void)state;
  Audio audio = swelling(190.0, rate);
  const size_t from = (size_t)(50.0 * rate);
  const size_t to = (size_t)(170.0 * rate);
  for (size_t n = 0; n < audio.frames; ++n) {
    const double gain = n < from || n >= to ? 0.5 : 1.0;
    audio.channel[0][n] *= gain;
    audio.channel[1][n] *= gain;
  }
  Audio after = audio_copy(&audio, 0);
  sound_scale(&after, 0.7);
  add_noise(&after, 0, from - 1, 0.01);
  add_noise(&after, to + 1, after.frames, 0.01);
  const PlanishDistortion found = sound_account("bad but where it is loudest", &audio, &after);
  assert_int_equal(found.stretch.first, from);
  assert_int_equal(found.stretch.frames, to - from);
  assert_true(found.distortion < -100.0);
  audio_free(&audio);
  audio_free(&after);
}

/* Distortion in a quarter of the frames, and everywhere but too low. */
static void audible_is_a_share_of_time(void **state)
{
  (void)state;
  Audio audio = swelling(20.0, rate);
  Audio after = audio_copy(&audio, 0);
  add_noise(&after, 0, after.frames / 4, 0.3);
  PlanishDistortion found = sound_account("bad for a quarter", &audio, &after);
  assert_true(fabs(found.audible - 0.25) < 0.02);
  assert_true(found.nmr_p95 > 0.0);
  assert_true(planish_distortion_ruins(&found));
  audio_free(&after);
  after = audio_copy(&audio, 0);
  add_noise(&after, 0, after.frames, 1e-4);
  found = sound_account("far under the mask", &audio, &after);
  assert_true(found.audible == 0.0 && found.nmr_p95 < -20.0);
  assert_false(planish_distortion_ruins(&found));
  audio_free(&after);
  audio_free(&audio);
}

/* On a side of its own noise is not masked by the other: it is heard from the threshold in quiet
 * on, by a full scale of 92 dB SPL. */
static void a_side_without_sound_masks_nothing(void **state)
{
  (void)state;
  static const double amplitudes[] = {2e-3, 1e-5};
  Audio audio = swelling(11.0, rate);
  memset(audio.channel[1], 0, audio.frames * sizeof(double));
  for (int i = 0; i < 2; ++i) {
    Audio after = audio_copy(&audio, 0);
    uint64_t seed = 5;
    for (size_t n = 0; n < after.frames; ++n) {
      after.channel[1][n] = amplitudes[i] * sound_noise(&seed);
    }
    const PlanishDistortion found = sound_account("noise where nothing was", &audio, &after);
    assert_true(i == 0 ? found.audible > 0.99 && found.nmr_p95 > 3.0
                       : found.audible < 0.01 && found.nmr_p95 < -3.0);
    audio_free(&after);
  }
  audio_free(&audio);
}

static double moving(size_t n)
{
  return pow(10.0, 1.5 / 20.0 * sin(2.0 * PLANISH_PI * 0.5 / rate * (double)n));
}

/* A gain that moves one channel alone, of either pair, is level. */
static void gains_of_one_channel_are_level(void **state)
{
  (void)state;
  static const char *const names[] = {"gain of the left", "gain of the side"};
  Audio audio = swelling(20.0, rate);
  for (int i = 0; i < 2; ++i) {
    Audio after = audio_copy(&audio, 0);
    if (i == 1) {
      sound_to_mid_side(&after);
    }
    for (size_t n = 0; n < after.frames; ++n) {
      after.channel[i][n] *= moving(n);
    }
    if (i == 1) {
      sound_to_left_right(&after);
    }
    const PlanishDistortion found = sound_account(names[i], &audio, &after);
    assert_true(found.distortion < found.not_linear - 20.0 && found.distortion < -40.0);
    assert_true(fabs(found.gain_lowest + 1.5) < 0.4 && fabs(found.gain_highest - 1.5) < 0.4);
    audio_free(&after);
  }
  audio_free(&audio);
}

/* Left from right and right from left, each with some of its own a frame late: linear too. */
static void any_fixed_matrix_is_linear(void **state)
{
  (void)state;
  Audio audio = swelling(12.0, rate);
  Audio after = audio_copy(&audio, 0);
  for (size_t n = 0; n < after.frames; ++n) {
    const size_t earlier = n > 0 ? n - 1 : 0;
    const double was = n > 0 ? 1.0 : 0.0;
    after.channel[0][n] = 0.8 * audio.channel[1][n] - 0.1 * was * audio.channel[0][earlier];
    after.channel[1][n] = 0.6 * audio.channel[0][n] + 0.3 * was * audio.channel[1][earlier];
  }
  const PlanishDistortion found = sound_account("matrix", &audio, &after);
  assert_true(found.distortion < -100.0);
  audio_free(&audio);
  audio_free(&after);
}

static void mono_needs_no_care(void **state)
{
  (void)state;
  Audio audio = swelling(12.0, rate);
  memcpy(audio.channel[1], audio.channel[0], audio.frames * sizeof(double));
  Audio after = audio_copy(&audio, 0);
  sound_scale(&after, 2.0);
  assert_true(sound_account("mono, +6 dB", &audio, &after).distortion < -100.0);
  memset(audio.channel[1], 0, audio.frames * sizeof(double));
  memset(after.channel[1], 0, audio.frames * sizeof(double));
  assert_true(sound_account("the left alone, +6 dB", &audio, &after).distortion < -100.0);
  audio_free(&audio);
  audio_free(&after);
}

/* -40 dB of noise under the sound. */
static void other_rates_read_the_same(void **state)
{
  (void)state;
  static const double rates[] = {11025.0, 44100.0, 96000.0};
  for (int i = 0; i < 3; ++i) {
    Audio audio = swelling(12.0, rates[i]);
    Audio after = audio_copy(&audio, 0);
    double power = 0.0;
    for (size_t n = 0; n < audio.frames; ++n) {
      power += audio.channel[0][n] * audio.channel[0][n] / (double)audio.frames;
    }
    add_noise(&after, 0, after.frames, sqrt(3.0 * power) * 0.01);
    const PlanishDistortion found = sound_account("white noise at -40 dB", &audio, &after);
    assert_true(fabs(found.distortion + 40.0) < 0.45);
    audio_free(&audio);
    audio_free(&after);
  }
}

static void gain_alone_wins_no_loudness(void **state)
{
  (void)state;
  Audio audio = swelling(12.0, rate);
  Audio after = audio_copy(&audio, 0);
  sound_scale(&after, 2.5);
  PlanishDistortion found = sound_account("gain", &audio, &after);
  assert_true(fabs(found.loudness_won) < 0.001);
  assert_true(fabs(found.after.loudness - found.before.loudness - 7.9588) < 0.001);
  audio_free(&after);
  after = audio_copy(&audio, 0);
  sound_clip(&after, 0.2);
  found = sound_account("clip", &audio, &after);
  same(found.loudness_won, (found.after.loudness - found.after.true_peak) -
                               (found.before.loudness - found.before.true_peak));
  assert_true(found.loudness_won > 1.0);
  audio_free(&after);
  audio_free(&audio);
}

static void json_names_quantity_and_unit(void **state)
{
  (void)state;
  const PlanishDistortion short_one = {.status = PLANISH_DISTORTION_TOO_SHORT,
                                       .stretch = {8000, 40000},
                                       .loudness_won = 1.5,
                                       .distortion = (double)NAN};
  char text[2048] = "";
  FILE *stream = fmemopen(text, sizeof text, "w");
  PlanishJson json = planish_json_on(stream);
  planish_distortion_json(&json, NULL, "clip", rate, &short_one);
  fclose(stream);
  static const char *const wanted[] = {"\"name\": \"clip\"",       "\"status\": \"too_short\"",
                                       "\"stretch_from_s\": 1",    "\"stretch_s\": 5",
                                       "\"loudness_won_lu\": 1.5", "\"plr_change_lu\": -1.5",
                                       "\"distortion_db\": null",  "\"ruins\": false"};
  for (size_t n = 0; n < sizeof wanted / sizeof *wanted; ++n) {
    assert_non_null(strstr(text, wanted[n]));
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_figures_are_the_same_with_two_threads),
      cmocka_unit_test(under_ten_seconds_there_is_no_account),
      cmocka_unit_test(silence_has_no_account),
      cmocka_unit_test(a_long_file_is_judged_where_it_is_loudest),
      cmocka_unit_test(audible_is_a_share_of_time),
      cmocka_unit_test(a_side_without_sound_masks_nothing),
      cmocka_unit_test(gains_of_one_channel_are_level),
      cmocka_unit_test(any_fixed_matrix_is_linear),
      cmocka_unit_test(mono_needs_no_care),
      cmocka_unit_test(other_rates_read_the_same),
      cmocka_unit_test(gain_alone_wins_no_loudness),
      cmocka_unit_test(json_names_quantity_and_unit),
  };
  return cmocka_run_group_tests_name("accounts of chains", tests, make_folder, remove_folder);
}
