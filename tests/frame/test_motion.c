/* What is heard while the frame's controls move: no click, whatever moves when, and no trace of
 * what was before a switch in silence. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000, SECOND = RATE };

/* Tones whose zero crossings lie at no round time, so that every step shows. */
static Audio tones(float peak)
{
  Audio audio = audio_sine(SECOND, RATE, 137.3, peak);
  Audio other = audio_sine(SECOND, RATE, 91.7, peak);
  float *left = audio.channel[0];
  audio.channel[0] = other.channel[0];
  other.channel[0] = left;
  audio_free(&other);
  return audio;
}

/* Largest second difference, which a step turns into its own height. */
static double roughest(const Audio *audio, uint32_t from)
{
  double largest = 0.0;
  for (int c = 0; c < 2; ++c) {
    const float *x = audio->channel[c];
    for (uint32_t n = from; n < audio->frames; ++n) {
      largest = fmax(largest, fabs((double)x[n] - 2.0 * (double)x[n - 1] + (double)x[n - 2]));
    }
  }
  return largest;
}

/* All common controls, and the marked ones of the stage. */
static void move_something(Take *take, uint32_t at, uint64_t *seed)
{
  switch (random_next(seed) % 8) {
  case 0:
    take_move(take, at, "enabled", (float)(random_next(seed) % 2));
    break;
  case 1:
    take_move(take, at, "listen", (float)(random_next(seed) % 3));
    break;
  case 2:
    take_move(take, at, "channels", (float)(random_next(seed) % 5));
    break;
  case 3:
    take_move(take, at, "mix", (float)random_within(seed, 0.0, 100.0));
    break;
  case 4:
    take_move(take, at, "output_gain", (float)random_within(seed, -6.0, 6.0));
    break;
  case 5:
    take_move(take, at, "loudness_match", (float)(random_next(seed) % 3));
    break;
  default:
    for (uint32_t i = 0; i < take->plugin->port_count; ++i) {
      const PlanishPluginPort *port = &take->plugin->ports[i];
      if (port->not_automatic && port->kind == PLANISH_PLUGIN_CONTROL_INPUT && !port->enumeration) {
        take_move(take, at, port->symbol,
                  (float)random_within(seed, (double)port->minimum, (double)port->maximum));
      }
    }
    break;
  }
}

static void check_clicks(const PlanishPlugin *plugin)
{
  Audio in = tones(0.4f);
  uint64_t seed = 7;
  double worst = 0.0;
  static Take take;
  for (int round = 0; round < 60; ++round) {
    take = take_of(plugin, RATE);
    /* So that mix and difference have something to do. */
    take_move(&take, 0, "input_gain", 6.0f);
    const uint64_t pace = round % 3 == 0 ? 300 : 4000;
    for (uint32_t at = 1 + (uint32_t)(random_next(&seed) % pace); at < SECOND;
         at += 1 + (uint32_t)(random_next(&seed) % pace)) {
      move_something(&take, at, &seed);
    }
    uint32_t latency = 0;
    Audio out = take_run(&take, &in, &latency);
    /* From where the tones have come in. */
    worst = fmax(worst, roughest(&out, latency + 3000));
    audio_free(&out);
  }
  printf("  everything moves under tones: roughest second difference %.5f\n", worst);
  /* The tones have 0.00013; what fades in 10 ms adds 0.0002 at full level, and all of it together
   * is raised by up to 6 dB of output gain and some of the match. A step of 0.01 is over. */
  assert_true(worst <= 0.005);
  audio_free(&in);
}

static void nothing_clicks(void **state)
{
  (void)state;
  for_each_stage(check_clicks);
}

/* The stage is reset unheard while it is bypassed; until it has filled, there is only silence to
 * switch on to. */
static void check_enabling(const PlanishPlugin *plugin)
{
  if (!has(plugin, "channels")) {
    return;
  }
  Audio in = tones(0.5f);
  for (uint32_t gap = 0; gap <= 1024; gap = gap == 0 ? 32 : 2 * gap) {
    Take take = take_of(plugin, RATE);
    take_move(&take, 0, "delay", 20.0f);
    take_move(&take, 0, "enabled", 0.0f);
    take_move(&take, SECOND / 2, "channels", 3.0f);
    take_move(&take, SECOND / 2 + gap, "enabled", 1.0f);
    uint32_t latency = 0;
    Audio out = take_run(&take, &in, &latency);
    assert_true(roughest(&out, latency + 3000) <= 0.0005);
    audio_free(&out);
  }
  audio_free(&in);
}

static void enabling_waits_for_a_stage_that_was_reset(void **state)
{
  (void)state;
  for_each_stage(check_enabling);
}

/* After a switch the stage is as good as new: what follows is what an instance gives that was
 * started at the frame of the reset. */
static void check_trace(const PlanishPlugin *plugin)
{
  if (!has(plugin, "channels")) {
    return;
  }
  Audio in = audio_music(SECOND, 71, 0.9f);
  uint64_t seed = 17;
  Take take = take_of(plugin, RATE);
  take_scatter(&take, 0, &seed);
  take_move(&take, 0, "delay", 13.0f);
  Take fresh = take;
  const uint32_t moved = 12000; /* a grid frame */
  const uint32_t reset = moved + RATE / 100;
  take_move(&take, moved, "channels", 2.0f);
  take_move(&take, moved, "delay", 7.0f);
  take_move(&fresh, 0, "channels", 2.0f);
  take_move(&fresh, 0, "delay", 7.0f);
  uint32_t latency = 0;
  Audio out = take_run(&take, &in, &latency);
  Audio later = {.channel = {in.channel[0] + reset, in.channel[1] + reset},
                 .frames = in.frames - reset};
  Audio expected = take_run(&fresh, &later, NULL);
  for (uint32_t n = reset + latency + RATE / 100; n < SECOND; ++n) {
    for (int c = 0; c < 2; ++c) {
      assert_true(out.channel[c][n] == expected.channel[c][n - reset]);
    }
  }
  /* Silence for the latency, and no longer than to the next grid frame. */
  uint32_t silent = 0;
  for (uint32_t n = moved; n < SECOND; ++n) {
    silent += out.channel[0][n] == 0.0f && out.channel[1][n] == 0.0f;
  }
  assert_true(silent >= latency && silent <= latency + 64);
  audio_free(&expected);
  audio_free(&out);
  audio_free(&in);
}

static void a_switch_leaves_no_trace(void **state)
{
  (void)state;
  for_each_stage(check_trace);
}

/* A stage that changes nothing needs no gain, also while it is switched again and again. */
static void check_match(const PlanishPlugin *plugin)
{
  PlanishError error = {0};
  Audio in = audio_music(3 * SECOND, 81, 0.02f);
  PlanishInstance *stage = planish_instance_new(plugin, RATE, &error);
  assert_non_null(stage);
  planish_instance_set(stage, "loudness_match", 1.0f);
  planish_instance_set(stage, "delay", 20.0f);
  planish_instance_activate(stage);
  uint64_t seed = 4;
  float farthest = 0.0f;
  for (uint32_t at = 0; at + 480 <= in.frames; at += 480) {
    if (random_next(&seed) % 20 == 0) {
      planish_instance_set(stage, "output_gain", (float)random_within(&seed, 0.0, 0.001));
    }
    if (random_next(&seed) % 20 == 0) {
      planish_instance_set(stage, "channels", (float)(random_next(&seed) % 5));
    }
    float *const both[2] = {in.channel[0] + at, in.channel[1] + at};
    planish_instance_run(stage, (const float *const *)both, both, 480);
    farthest = fmaxf(farthest, fabsf(planish_instance_get(stage, "match_gain")));
  }
  printf("  match gain of a neutral stage that is switched: %.3f dB at most\n", (double)farthest);
  assert_true(farthest <= 0.02f);
  planish_instance_free(stage);
  audio_free(&in);
}

static void a_switch_does_not_disturb_the_match(void **state)
{
  (void)state;
  for_each_stage(check_match);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(nothing_clicks),
      cmocka_unit_test(enabling_waits_for_a_stage_that_was_reset),
      cmocka_unit_test(a_switch_leaves_no_trace),
      cmocka_unit_test(a_switch_does_not_disturb_the_match),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
