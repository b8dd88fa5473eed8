/* What every stage promises, whatever it does: latency, bypass, clean input, values
 * within their ranges, rates. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#if defined(__SSE2__)
#include <xmmintrin.h>
#endif

enum { RATE = 48000, SHORT = 24000 };

static void check_bypass(const PlanishPlugin *plugin)
{
  static const double rates[] = {44100, 48000, 96000};
  uint64_t seed = 5;
  for (int round = 0; round < 6; ++round) {
    Audio in = audio_music(SHORT, 7, 0.9f);
    Take take = take_of(plugin, rates[round % 3]);
    take_move(&take, 0, "enabled", 0.0f);
    take_move(&take, 0, "channels", (float)(round % 5));
    take_move(&take, 0, "output_gain", 6.0f);
    take_move(&take, 0, "loudness_match", (float)(round % 3));
    take_move(&take, 0, "listen", (float)(round % 2));
    take_scatter(&take, 0, &seed);
    take_scatter(&take, 9600, &seed);
    /* A marked control that leaves the latency as it is: nobody hears the switch. */
    take_move(&take, 15000, "channels", (float)((round + 1) % 5));
    uint32_t latency = 0;
    Audio out = take_run(&take, &in, &latency);
    assert_true(largest_difference(&out, &in, latency) == -1.0);
    audio_free(&out);
    audio_free(&in);
  }
}

static void bypass_is_the_delayed_input(void **state)
{
  (void)state;
  for_each_stage(check_bypass);
}

static void check_toggling(const PlanishPlugin *plugin)
{
  Audio in = audio_sine(2 * RATE, RATE, 100.0, 0.1f);
  Take take = take_of(plugin, RATE);
  take_move(&take, 0, "output_gain", -6.0f);
  for (uint32_t k = 1; k < 8; ++k) {
    take_move(&take, k * 12007u, "enabled", (float)((k + 1) % 2));
  }
  Audio out = take_run(&take, &in, NULL);
  const double above = energy_above(out.channel[0], out.frames, RATE, 1500.0);
  printf("  bypass toggled under 100 Hz: %.1f dB beyond 1.5 kHz\n", above);
  assert_true(above <= -100.0);
  /* It did toggle: the level in the middle of both states. */
  assert_true(fabsf(out.channel[0][12007 / 2]) != 0.0f);
  audio_free(&out);
  audio_free(&in);
}

static void toggling_bypass_does_not_click(void **state)
{
  (void)state;
  for_each_stage(check_toggling);
}

static void check_rates(const PlanishPlugin *plugin)
{
  static const double refused[] = {0.0, -48000.0, 1000.0, 7999.0, 1e9, INFINITY, NAN};
  for (size_t i = 0; i < sizeof refused / sizeof *refused; ++i) {
    PlanishError error = {0};
    assert_null(planish_instance_new(plugin, refused[i], &error));
  }
  static const double usual[] = {8000, 22050, 44100, 48000, 88200, 96000, 176400, 192000, 384000};
  for (size_t i = 0; i < sizeof usual / sizeof *usual; ++i) {
    Audio in = audio_music(SHORT, 61, 0.9f);
    Take take = take_of(plugin, usual[i]);
    take_move(&take, 0, "loudness_match", 1.0f);
    take_move(&take, 0, "input_gain", 6.0f);
    Audio out = take_run(&take, &in, NULL);
    for (uint32_t n = 0; n < SHORT; ++n) {
      assert_true(isfinite(out.channel[0][n]) && isfinite(out.channel[1][n]));
    }
    audio_free(&out);
    audio_free(&in);
  }
}

static void odd_rates_are_refused(void **state)
{
  (void)state;
  for_each_stage(check_rates);
}

static void check_latency(const PlanishPlugin *plugin)
{
  PlanishError error = {0};
  for (int marked = 0; marked < 2; ++marked) {
    PlanishInstance *stage = planish_instance_new(plugin, RATE, &error);
    assert_non_null(stage);
    for (uint32_t i = 0; i < plugin->port_count; ++i) {
      const PlanishPluginPort *port = &plugin->ports[i];
      if (port->not_automatic && port->kind == PLANISH_PLUGIN_CONTROL_INPUT && marked == 1) {
        planish_instance_set_at(stage, i, port->maximum);
      }
    }
    planish_instance_activate(stage);
    planish_instance_run(stage, NULL, NULL, 0);
    const uint32_t before = planish_instance_latency(stage);
    Audio audio = audio_music(4000, 1, 0.5f);
    planish_instance_run(stage, (const float *const *)audio.channel, audio.channel, 1);
    assert_int_equal(planish_instance_latency(stage), before);
    planish_instance_set(stage, "enabled", 0.0f);
    planish_instance_run(stage, (const float *const *)audio.channel, audio.channel, 3000);
    assert_int_equal(planish_instance_latency(stage), before);
    printf("  latency %u frames\n", (unsigned)before);
    audio_free(&audio);
    planish_instance_free(stage);
  }
}

static void latency_is_known_before_the_first_frame(void **state)
{
  (void)state;
  for_each_stage(check_latency);
}

static void check_dirt(const PlanishPlugin *plugin)
{
  Audio dirty = audio_music(SHORT, 21, 0.5f);
  Audio clean = audio_music(SHORT, 21, 0.5f);
  static const float dirt[] = {NAN, INFINITY, -INFINITY, 1e-42f, -1e-45f};
  for (uint32_t n = 100; n < 12000; n += 97) {
    dirty.channel[n % 2][n] = dirt[n % 5];
    clean.channel[n % 2][n] = 0.0f;
  }
  Take take = take_of(plugin, RATE);
  Audio from_dirty = take_run(&take, &dirty, NULL);
  Audio from_clean = take_run(&take, &clean, NULL);
  assert_true(largest_difference(&from_dirty, &from_clean, 0) == -1.0);
  /* What is over +120 dB re full scale is no sound. */
  for (uint32_t n = 13000; n < 14000; ++n) {
    dirty.channel[0][n] = n % 3 == 0 ? 1e30f : -3e38f;
    clean.channel[0][n] = 0.0f;
  }
  Audio from_loud = take_run(&take, &dirty, NULL);
  audio_free(&from_clean);
  from_clean = take_run(&take, &clean, NULL);
  assert_true(largest_difference(&from_loud, &from_clean, 0) == -1.0);
  audio_free(&from_loud);
  audio_free(&from_dirty);
  audio_free(&from_clean);
  audio_free(&dirty);
  audio_free(&clean);
}

static void unclean_input_counts_as_silence(void **state)
{
  (void)state;
  for_each_stage(check_dirt);
}

/* Values that no port allows must do what the nearest allowed value does. */
static void check_extremes(const PlanishPlugin *plugin)
{
  static const float odd[] = {1e30f, -1e30f, INFINITY, -INFINITY, NAN};
  Audio in = audio_music(SHORT / 2, 31, 0.5f);
  for (size_t k = 0; k < sizeof odd / sizeof *odd; ++k) {
    Take wild = take_of(plugin, RATE);
    Take held = take_of(plugin, RATE);
    for (uint32_t i = 0; i < plugin->port_count; ++i) {
      const PlanishPluginPort *port = &plugin->ports[i];
      if (port->kind != PLANISH_PLUGIN_CONTROL_INPUT) {
        continue;
      }
      take_move(&wild, 0, port->symbol, odd[k]);
      take_move(&held, 0, port->symbol,
                isnan(odd[k]) ? port->initial : fminf(fmaxf(odd[k], port->minimum), port->maximum));
    }
    Audio a = take_run(&wild, &in, NULL);
    Audio b = take_run(&held, &in, NULL);
    assert_true(largest_difference(&a, &b, 0) == -1.0);
    for (uint32_t n = 0; n < in.frames; ++n) {
      assert_true(isfinite(a.channel[0][n]) && isfinite(a.channel[1][n]));
    }
    audio_free(&a);
    audio_free(&b);
  }
  for (int up = 0; up < 2; ++up) {
    Take between = take_of(plugin, RATE);
    Take whole = take_of(plugin, RATE);
    for (uint32_t i = 0; i < plugin->port_count; ++i) {
      const PlanishPluginPort *port = &plugin->ports[i];
      if (port->kind == PLANISH_PLUGIN_CONTROL_INPUT && (port->whole || port->enumeration) &&
          !port->toggled) {
        take_move(&between, 0, port->symbol, port->minimum + (up ? 0.6f : 0.4f));
        take_move(&whole, 0, port->symbol, port->minimum + (float)up);
      }
    }
    Audio a = take_run(&between, &in, NULL);
    Audio b = take_run(&whole, &in, NULL);
    assert_true(largest_difference(&a, &b, 0) == -1.0);
    audio_free(&a);
    audio_free(&b);
  }
  audio_free(&in);
}

static void values_out_of_range_are_held(void **state)
{
  (void)state;
  for_each_stage(check_extremes);
}

static void check_open_ports(const PlanishPlugin *plugin)
{
  PlanishError error = {0};
  Audio in = audio_music(4000, 41, 0.5f);
  Audio out = audio_new(4000);
  Take take = take_of(plugin, RATE);
  Audio expected = take_run(&take, &in, NULL);
  PlanishInstance *stage = planish_instance_new(plugin, RATE, &error);
  assert_non_null(stage);
  for (uint32_t i = 0; i < plugin->port_count; ++i) {
    if (plugin->ports[i].kind == PLANISH_PLUGIN_CONTROL_INPUT ||
        plugin->ports[i].kind == PLANISH_PLUGIN_CONTROL_OUTPUT) {
      planish_instance_connect(stage, i, NULL);
    }
  }
  planish_instance_activate(stage);
  planish_instance_run(stage, (const float *const *)in.channel, out.channel, in.frames);
  assert_true(largest_difference(&out, &expected, 0) == -1.0);
  planish_instance_free(stage);
  audio_free(&expected);
  audio_free(&in);
  audio_free(&out);
}

static void open_ports_have_their_defaults(void **state)
{
  (void)state;
  for_each_stage(check_open_ports);
}

#if defined(__SSE2__)
/* A host that rounds upwards, and traps invalid operations: not those of a stage. */
static const unsigned int odd_environment = 0x1f80u | 0x4000u;
static const unsigned int invalid_masked = 0x0080u;

static void check_environment(const PlanishPlugin *plugin)
{
  PlanishError error = {0};
  Audio in = audio_music(5000, 51, 1.0f);
  Take take = take_of(plugin, RATE);
  take_move(&take, 0, "output_gain", 3.0f);
  take_move(&take, 0, "loudness_match", 1.0f);
  in.channel[0][100] = NAN;
  Audio expected = take_run(&take, &in, NULL);
  Audio out = audio_new(in.frames);
  PlanishInstance *stage = planish_instance_new(plugin, RATE, &error);
  assert_non_null(stage);
  planish_instance_set(stage, "output_gain", 3.0f);
  planish_instance_set(stage, "loudness_match", 1.0f);
  planish_instance_activate(stage);
  const unsigned int before = _mm_getcsr();
  _mm_setcsr(odd_environment & ~invalid_masked);
  planish_instance_run(stage, (const float *const *)in.channel, out.channel, in.frames);
  const unsigned int after = _mm_getcsr();
  _mm_setcsr(before);
  assert_int_equal(after & 0xffc0u, odd_environment & ~invalid_masked & 0xffc0u);
  assert_true(largest_difference(&out, &expected, 0) == -1.0);
  planish_instance_free(stage);
  audio_free(&expected);
  audio_free(&out);
  audio_free(&in);
}
#else
static void check_environment(const PlanishPlugin *plugin)
{
  (void)plugin;
}
#endif

static void the_float_environment_is_the_stages_own(void **state)
{
  (void)state;
  for_each_stage(check_environment);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bypass_is_the_delayed_input),
      cmocka_unit_test(toggling_bypass_does_not_click),
      cmocka_unit_test(odd_rates_are_refused),
      cmocka_unit_test(latency_is_known_before_the_first_frame),
      cmocka_unit_test(unclean_input_counts_as_silence),
      cmocka_unit_test(values_out_of_range_are_held),
      cmocka_unit_test(open_ports_have_their_defaults),
      cmocka_unit_test(the_float_environment_is_the_stages_own),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
