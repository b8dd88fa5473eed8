/* The limiter through the LV2 ABI: what a steady tone leaves at, and what it leaves behind.
 *
 * A tone that shares no period with the rate reads its true peak as its amplitude, so the ceiling
 * is the level of its line. Harmonics of the line are the limiter's distortion; a release of one
 * pole gives -32 to -49 dB at 50 Hz. */
#include "harness/response/level_curve.h"
#include "tests/response/response.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000 };

static void a_tone_leaves_at_the_ceiling(void **state)
{
  (void)state;
  static const double tones[] = {50.0, 997.0, 5000.0, 12007.0, 19997.0};
  static const double in[] = {-6.0, 0.0, 6.0};
  enum { LEVELS = sizeof in / sizeof *in };
  const PlanishPlugin *limiter = stage_named("limiter");
  float values[MOST_PORTS];
  for (uint32_t n = 0; n < limiter->port_count; ++n) {
    values[n] = limiter->ports[n].initial;
  }
  values[planish_plugin_find(limiter, "input_gain")] = 9.0f;
  values[planish_plugin_find(limiter, "ceiling")] = -3.0f;
  const PlanishProbeSetup setup = {
      .plugin = limiter, .values = values, .rate = RATE, .channel = PLANISH_PROBE_LEFT};
  for (size_t i = 0; i < sizeof tones / sizeof *tones; ++i) {
    double out[LEVELS];
    bool settled;
    assert_true(planish_level_curve(&setup, tones[i], in, out, LEVELS, &settled, NULL));
    printf("  %5.0f Hz, 6, 12 and 18 dB over: leaves at %.3f, %.3f, %.3f dBTP\n", tones[i], out[0],
           out[1], out[2]);
    assert_true(settled);
    for (int n = 0; n < LEVELS; ++n) {
      assert_true(out[n] <= -3.0 + 0.03 && out[n] >= -3.0 - 0.1);
    }
  }
}

static void a_settled_bass_note_stays_clean(void **state)
{
  (void)state;
  static const float drives[] = {0.5f, 1.0f, 3.0f};
  for (size_t d = 0; d < sizeof drives / sizeof *drives; ++d) {
    Audio in = audio_sine(6 * RATE, RATE, 50.0, 0.5f);
    Take take = take_of(stage_named("limiter"), RATE);
    take_move(&take, 0, "ceiling", (float)(20.0 * log10(0.5)) - drives[d]);
    Audio out = take_run(&take, &in, NULL);
    const double tone = line_of(&out, 0, 5 * RATE, RATE, 50.0 / RATE);
    double harmonics = 0.0;
    for (int h = 2; h <= 10; ++h) {
      const double line = line_of(&out, 0, 5 * RATE, RATE, 50.0 * h / RATE);
      harmonics += line * line;
    }
    const double thd = 10.0 * log10(harmonics / (tone * tone));
    printf("  50 Hz at %.1f dB of reduction: harmonics 2 to 10 at %.1f dB\n", (double)drives[d],
           thd);
    assert_true(thd <= -120.0);
    audio_free(&out);
    audio_free(&in);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_tone_leaves_at_the_ceiling),
      cmocka_unit_test(a_settled_bass_note_stays_clean),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
