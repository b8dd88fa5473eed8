/* loudness_match: how fast it settles, how calm it is, and that `hold` holds. Loudness is measured
 * by libebur128, an implementation of ITU-R BS.1770 not our own. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <ebur128.h>
#include <math.h>
#include <stdio.h>

enum { RATE = 48000, BLOCK = 480 };

enum { SECONDS = 14, BLOCKS = SECONDS * RATE / BLOCK };

/* match_gain after each block of 10 ms, with a control moved at 8 s. */
static void trace(const PlanishPlugin *plugin, const char *symbol, float before, float after,
                  int mode_after_7_s, float gains[BLOCKS], Audio *out)
{
  PlanishError error = {0};
  Audio in = audio_music(BLOCK * BLOCKS, 77, 0.5f);
  PlanishInstance *stage = planish_instance_new(plugin, RATE, &error);
  assert_non_null(stage);
  *out = audio_new(in.frames);
  planish_instance_set(stage, "loudness_match", 1.0f);
  planish_instance_set(stage, symbol, before);
  planish_instance_activate(stage);
  for (int b = 0; b < BLOCKS; ++b) {
    if (b == 7 * RATE / BLOCK) {
      planish_instance_set(stage, "loudness_match", (float)mode_after_7_s);
    }
    if (b == 8 * RATE / BLOCK) {
      planish_instance_set(stage, symbol, after);
    }
    const uint32_t at = (uint32_t)b * BLOCK;
    planish_instance_run(stage, (const float *const[2]){in.channel[0] + at, in.channel[1] + at},
                         (float *const[2]){out->channel[0] + at, out->channel[1] + at}, BLOCK);
    gains[b] = planish_instance_get(stage, "match_gain");
  }
  planish_instance_free(stage);
  audio_free(&in);
}

static double loudness(const Audio *audio, uint32_t from, uint32_t frames)
{
  ebur128_state *meter = ebur128_init(2, RATE, EBUR128_MODE_I);
  for (uint32_t n = from; n < from + frames; ++n) {
    const float frame[2] = {audio->channel[0][n], audio->channel[1][n]};
    ebur128_add_frames_float(meter, frame, 1);
  }
  double value = 0.0;
  ebur128_loudness_global(meter, &value);
  ebur128_destroy(&meter);
  return value;
}

static const char *level_control(const PlanishPlugin *plugin)
{
  return has(plugin, "input_gain") ? "input_gain" : "output_gain";
}

static void check_follow(const PlanishPlugin *plugin)
{
  static float gains[BLOCKS];
  Audio out;
  trace(plugin, level_control(plugin), 1.0f, 6.0f, 1, gains, &out);
  float low = 1000.0f;
  float high = -1000.0f;
  const float settled = gains[BLOCKS - 1];
  int last_off = 8 * RATE / BLOCK;
  for (int b = 8 * RATE / BLOCK; b < BLOCKS; ++b) {
    last_off = fabsf(gains[b] - settled) > 0.5f ? b : last_off;
    if (b >= 12 * RATE / BLOCK) {
      low = fminf(low, gains[b]);
      high = fmaxf(high, gains[b]);
    }
  }
  const double settle = (last_off + 1 - 8 * RATE / BLOCK) * (double)BLOCK / RATE;
  Audio in = audio_music(BLOCK * BLOCKS, 77, 0.5f);
  const double off = loudness(&out, 12 * RATE, 2 * RATE) - loudness(&in, 12 * RATE, 2 * RATE);
  printf("  settles in %.2f s, ripple %.2f dB, off by %.2f LU\n", settle, (double)(high - low),
         off);
  assert_true(settle <= 0.5);
  assert_true(settled < -4.0f);
  assert_true(high - low <= 0.25f);
  assert_true(fabs(off) <= 0.2);
  audio_free(&in);
  audio_free(&out);
}

static void follow_settles_and_is_calm(void **state)
{
  (void)state;
  for_each_stage(check_follow);
}

static void check_hold(const PlanishPlugin *plugin)
{
  static float gains[BLOCKS];
  Audio out;
  trace(plugin, level_control(plugin), 4.0f, 6.0f, 2, gains, &out);
  assert_true(gains[7 * RATE / BLOCK + 3] < -2.0f);
  for (int b = 7 * RATE / BLOCK + 3; b < BLOCKS; ++b) {
    assert_true(gains[b] == gains[7 * RATE / BLOCK + 3]);
  }
  audio_free(&out);
}

static void hold_is_constant(void **state)
{
  (void)state;
  for_each_stage(check_hold);
}

/* A stage's own listening is no reason to move the gain: what comes back after it comes back at the
 * level it had. */
static void check_rest(const PlanishPlugin *plugin)
{
  if (!has(plugin, "listen_band")) {
    return;
  }
  PlanishError error = {0};
  Audio in = audio_music(BLOCK * BLOCKS, 77, 0.5f);
  PlanishInstance *stage = planish_instance_new(plugin, RATE, &error);
  assert_non_null(stage);
  planish_instance_set(stage, "loudness_match", 1.0f);
  planish_instance_set(stage, "output_gain", 2.0f);
  planish_instance_set(stage, "b8_type", 1.0f);
  planish_instance_set(stage, "b8_q", 8.0f);
  planish_instance_activate(stage);
  float farthest = 0.0f;
  for (int b = 0; b < BLOCKS; ++b) {
    planish_instance_set(stage, "listen_band", b >= 500 && b < 900 ? 8.0f : 0.0f);
    float *const both[2] = {in.channel[0] + b * BLOCK, in.channel[1] + b * BLOCK};
    planish_instance_run(stage, (const float *const *)both, both, BLOCK);
    if (b >= 100) {
      farthest = fmaxf(farthest, fabsf(planish_instance_get(stage, "match_gain") + 2.0f));
    }
  }
  printf("  match gain moves by %.3f dB while a band is listened to\n", (double)farthest);
  assert_true(farthest <= 0.02f);
  planish_instance_free(stage);
  audio_free(&in);
}

static void the_match_rests_while_a_band_is_listened_to(void **state)
{
  (void)state;
  for_each_stage(check_rest);
}

static void check_off(const PlanishPlugin *plugin)
{
  static float gains[BLOCKS];
  Audio out;
  trace(plugin, level_control(plugin), 4.0f, 6.0f, 0, gains, &out);
  for (int b = 8 * RATE / BLOCK; b < BLOCKS; ++b) {
    assert_true(gains[b] == 0.0f);
  }
  audio_free(&out);
}

static void off_is_off(void **state)
{
  (void)state;
  for_each_stage(check_off);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(follow_settles_and_is_calm),
      cmocka_unit_test(hold_is_constant),
      cmocka_unit_test(the_match_rests_while_a_band_is_listened_to),
      cmocka_unit_test(off_is_off),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
