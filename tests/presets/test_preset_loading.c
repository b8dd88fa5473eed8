/* Presets loaded while sound runs, one after another as a host does: no click. */
#include "harness/host/preset.h"
#include "harness/host/preset_list.h"
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000, SECONDS = 4, FRAMES = SECONDS * RATE };

static PlanishHost *host;

/* Tones of the middle and of the side whose zero crossings lie at no round time, so that every step
 * shows. */
static Audio tones(void)
{
  Audio audio = audio_sine(FRAMES, RATE, 137.3, 0.1F);
  Audio other = audio_sine(FRAMES, RATE, 91.7, 0.1F);
  for (uint32_t n = 0; n < FRAMES; ++n) {
    audio.channel[0][n] = 0.6F * audio.channel[0][n] + 0.4F * other.channel[0][n];
    audio.channel[1][n] = other.channel[1][n];
  }
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

static void load(Take *take, uint32_t at, const char *uri)
{
  PlanishError error = {0};
  PlanishPreset *preset = planish_preset_new(host, take->plugin, uri, &error);
  assert_non_null(preset);
  for (uint32_t n = 0; n < preset->count; ++n) {
    take_move(take, at, preset->values[n].symbol, (float)preset->values[n].value);
  }
  planish_preset_free(preset);
}

static void check_stage(const PlanishPlugin *plugin)
{
  PlanishError error = {0};
  PlanishPresetList *presets = planish_preset_list_new(host, plugin, &error);
  assert_non_null(presets);
  Audio in = tones();
  uint64_t seed = 11;
  double worst = 0.0;
  static Take take;
  for (uint32_t first = 0; first < presets->count; ++first) {
    take = take_of(plugin, RATE);
    load(&take, 0, presets->entries[first].uri);
    for (uint32_t at = RATE; at < FRAMES; at += RATE / 2 + (uint32_t)(random_next(&seed) % 999)) {
      load(&take, at, presets->entries[random_next(&seed) % presets->count].uri);
    }
    Audio out = take_run(&take, &in, NULL);
    /* From where the tones have come in, whatever the latency. */
    worst = fmax(worst, roughest(&out, RATE / 2));
    audio_free(&out);
  }
  printf("  %u presets, loaded in turn under tones: roughest second difference %.6f\n",
         presets->count, worst);
  /* The tones have 0.00003; what a preset changes fades in within 10 ms. A step of a
   * hundredth of them is 0.001.
   */
  assert_true(worst <= 0.0003);
  audio_free(&in);
  planish_preset_list_free(presets);
}

static void loading_does_not_click(void **state)
{
  (void)state;
  PlanishError error = {0};
  host = planish_host_open(&error);
  assert_non_null(host);
  for_each_stage(check_stage);
  planish_host_free(host);
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(loading_does_not_click)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
