/* What the common controls do to any stage's result: channels, mix, listen, neutral settings, and
 * the switch of marked controls in silence. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { RATE = 48000, SHORT = 24000 };

static void check_neutral(const PlanishPlugin *plugin)
{
  Audio in = audio_music(SHORT, 1, 0.01f);
  Take take = take_of(plugin, RATE);
  uint32_t latency = 0;
  Audio out = take_run(&take, &in, &latency);
  assert_true(largest_difference(&out, &in, latency) == -1.0);
  audio_free(&out);
  for (int part = 1; part < 5 && has(plugin, "channels"); ++part) {
    take = take_of(plugin, RATE);
    take_move(&take, 0, "channels", (float)part);
    out = take_run(&take, &in, &latency);
    assert_true(largest_difference(&out, &in, latency) == -1.0);
    audio_free(&out);
  }
  take = take_of(plugin, RATE);
  if (has(plugin, "mix")) {
    uint64_t seed = 2;
    take_move(&take, 0, "mix", 0.0f);
    take_scatter(&take, 0, &seed);
    out = take_run(&take, &in, &latency);
    assert_true(largest_difference(&out, &in, latency) == -1.0);
    audio_free(&out);
  }
  audio_free(&in);
}

static void neutral_settings_change_no_bit(void **state)
{
  (void)state;
  for_each_stage(check_neutral);
}

static double value_of(const Audio *audio, int part, uint32_t n)
{
  const double left = (double)audio->channel[0][n];
  const double right = (double)audio->channel[1][n];
  const double parts[] = {0.0, 0.5 * (left + right), 0.5 * (left - right), left, right};
  return parts[part];
}

/* The part that was not chosen passes; the chosen one is worked on. */
static void check_channels(const PlanishPlugin *plugin)
{
  static const int other[] = {0, 2, 1, 4, 3};
  if (!has(plugin, "channels")) {
    return;
  }
  Audio in = audio_music(SHORT, 3, 0.9f);
  for (int part = 1; part < 5; ++part) {
    Take take = take_of(plugin, RATE);
    uint32_t latency = 0;
    take_move(&take, 0, "channels", (float)part);
    take_move(&take, 0, "input_gain", 12.0f);
    Audio out = take_run(&take, &in, &latency);
    double untouched = 0.0;
    double touched = 0.0;
    for (uint32_t n = latency; n < SHORT; ++n) {
      untouched = fmax(untouched, fabs(value_of(&out, other[part], n) -
                                       value_of(&in, other[part], n - latency)));
      touched = fmax(touched, fabs(value_of(&out, part, n) - value_of(&in, part, n - latency)));
    }
    /* Left and right exactly; mid and side to the rounding of float at the ports, 2^-24 of 4. */
    assert_true(untouched <= (part >= 3 ? 0.0 : 4.0 * 5.97e-8));
    assert_true(!has(plugin, "input_gain") || touched > 0.01);
    audio_free(&out);
  }
  audio_free(&in);
}

static void channels_leaves_the_rest_alone(void **state)
{
  (void)state;
  for_each_stage(check_channels);
}

static void check_mix(const PlanishPlugin *plugin)
{
  if (!has(plugin, "mix")) {
    return;
  }
  Audio in = audio_music(SHORT, 5, 0.9f);
  uint64_t seed = 8;
  Take take = take_of(plugin, RATE);
  take_scatter(&take, 0, &seed);
  uint32_t latency = 0;
  Audio whole = take_run(&take, &in, &latency);
  take_move(&take, 0, "mix", 25.0f);
  Audio quarter = take_run(&take, &in, NULL);
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = latency; n < SHORT; ++n) {
      const double dry = (double)in.channel[c][n - latency];
      const double wet = (double)whole.channel[c][n];
      assert_true(fabs(dry + 0.25 * (wet - dry) - (double)quarter.channel[c][n]) <
                  1e-6 * fmax(1.0, fabs(wet)));
    }
  }
  audio_free(&quarter);
  audio_free(&whole);
  audio_free(&in);
}

static void mix_is_a_share_of_the_difference(void **state)
{
  (void)state;
  for_each_stage(check_mix);
}

/* mix: of a stage that has it, else 1. */
static void check_difference_at(const PlanishPlugin *plugin, bool matched, double mix)
{
  Audio in = audio_music(SHORT, 6, 0.9f);
  uint64_t seed = 12;
  Take take = take_of(plugin, RATE);
  take_scatter(&take, 0, &seed);
  const float gain = has(plugin, "input_gain") ? 3.0f : 0.0f;
  take_move(&take, 0, "input_gain", gain);
  take_move(&take, 0, "mix", (float)(100.0 * mix));
  take_move(&take, 0, "loudness_match", matched ? 1.0f : 0.0f);
  uint32_t latency = 0;
  Audio result = take_run(&take, &in, &latency);
  take_move(&take, 0, "listen", 1.0f);
  Audio difference = take_run(&take, &in, NULL);
  /* After the match against the input itself; without it the plain gain is left out, too. */
  const double plain = matched ? 0.0 : mix * (pow(10.0, (double)gain / 20.0) - 1.0);
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = latency; n < SHORT; ++n) {
      const double expected =
          (double)result.channel[c][n] - (1.0 + plain) * (double)in.channel[c][n - latency];
      assert_true(fabs((double)difference.channel[c][n] - expected) <
                  1e-6 * fmax(1.0, fabs((double)result.channel[c][n])));
    }
  }
  audio_free(&difference);
  audio_free(&result);
  audio_free(&in);
}

static void check_difference(const PlanishPlugin *plugin)
{
  check_difference_at(plugin, false, 1.0);
  check_difference_at(plugin, true, 1.0);
  if (has(plugin, "mix")) {
    check_difference_at(plugin, false, 0.4);
    check_difference_at(plugin, true, 0.4);
  }
}

static void listen_difference_leaves_out_the_input_gain(void **state)
{
  (void)state;
  for_each_stage(check_difference);
}

/* The example's point of its own is the delayed input, on the chosen part, whatever the gain. */
static void check_point(const PlanishPlugin *plugin)
{
  if (strcmp(plugin->uri, "urn:planish:example") != 0) {
    return;
  }
  Audio in = audio_music(SHORT, 8, 0.5f);
  for (int part = 0; part < 5; ++part) {
    Take take = take_of(plugin, RATE);
    uint32_t latency = 0;
    take_move(&take, 0, "channels", (float)part);
    take_move(&take, 0, "input_gain", 7.0f);
    take_move(&take, 0, "mix", 30.0f);
    take_move(&take, 0, "listen", 2.0f);
    Audio out = take_run(&take, &in, &latency);
    for (uint32_t n = latency; n < SHORT; ++n) {
      const double left = value_of(&in, 3, n - latency);
      const double right = value_of(&in, 4, n - latency);
      const double of_part = value_of(&in, part, n - latency);
      const double expected_left = part == 0 ? left : part == 4 ? 0.0 : of_part;
      const double expected_right = part == 0   ? right
                                    : part == 3 ? 0.0
                                    : part == 2 ? -of_part
                                                : of_part;
      assert_true(out.channel[0][n] == (float)expected_left);
      assert_true(out.channel[1][n] == (float)expected_right);
    }
    audio_free(&out);
  }
  audio_free(&in);
}

static void points_are_heard_where_they_belong(void **state)
{
  (void)state;
  for_each_stage(check_point);
}

/* A marked control moved under a tone: a fade to silence and back, and no step on the way. */
static void check_switch(const PlanishPlugin *plugin)
{
  if (!has(plugin, "channels")) {
    return;
  }
  /* Not 100 Hz, which crosses zero wherever a fade ends. */
  Audio in = audio_sine(SHORT, RATE, 137.3, 0.1f);
  Take take = take_of(plugin, RATE);
  take_move(&take, SHORT / 2, "channels", 1.0f);
  uint32_t latency = 0;
  Audio out = take_run(&take, &in, &latency);
  const float step = 0.1f * 2.0f * 3.1416f * 137.3f / RATE;
  float steepest = 0.0f;
  uint32_t silent = 0;
  for (uint32_t n = 1; n < SHORT; ++n) {
    steepest = fmaxf(steepest, fabsf(out.channel[0][n] - out.channel[0][n - 1]));
    silent += n > SHORT / 2 && out.channel[0][n] == 0.0f && out.channel[1][n] == 0.0f;
  }
  /* A fade of 10 ms adds its own slope: at most 1.875 / 480 a frame. */
  assert_true(steepest <= 1.05f * (step + 0.1f * 1.875f / 480.0f));
  assert_true(silent >= latency && silent <= latency + 64);
  audio_free(&out);
  audio_free(&in);
}

static void marked_controls_switch_in_silence(void **state)
{
  (void)state;
  for_each_stage(check_switch);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(neutral_settings_change_no_bit),
      cmocka_unit_test(channels_leaves_the_rest_alone),
      cmocka_unit_test(mix_is_a_share_of_the_difference),
      cmocka_unit_test(listen_difference_leaves_out_the_input_gain),
      cmocka_unit_test(points_are_heard_where_they_belong),
      cmocka_unit_test(marked_controls_switch_in_silence),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
