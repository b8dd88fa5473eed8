/* Our loudness against libebur128, which is read every 10 ms for the maxima. Its own loudness range
 * takes a window a second, ours ten: it is held against the short-term loudness that the library
 * reads every 100 ms. */
#include "common/dsp/loudness.h"
#include "tests/harness/audio_fixture.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/range_reference.h"

#include <ebur128.h>

/* Maxima are compared on this much; the library adds up the whole window at every look. */
#define MAXIMA_SECONDS 15.0

typedef struct {
  double integrated;
  double momentary_max;
  double shortterm_max;
  double range;
} Readings;

static Readings ours(const Audio *audio, size_t frames)
{
  PlanishLoudness meter;
  PlanishArena arena = planish_arena_counting();
  assert_int_equal(planish_loudness_setup(&meter, &arena, audio->rate, 2), PLANISH_OK);
  arena = arena_for(arena);
  assert_int_equal(planish_loudness_setup(&meter, &arena, audio->rate, 2), PLANISH_OK);
  for (size_t n = 0; n < frames; ++n) {
    const double left = (double)audio->samples[2 * n];
    const double right = (double)audio->samples[2 * n + 1];
    planish_loudness_process(&meter, (const double *const[]){&left, &right}, 1);
  }
  const Readings readings = {
      .integrated = planish_loudness_integrated(&meter),
      .momentary_max = planish_loudness_momentary_max(&meter),
      .shortterm_max = planish_loudness_shortterm_max(&meter),
      .range = planish_loudness_range(&meter),
  };
  free(arena.block);
  return readings;
}

static Readings library(const Audio *audio, size_t frames, bool maxima)
{
  ebur128_state *meter =
      ebur128_init(2, (unsigned long)audio->rate, EBUR128_MODE_I | EBUR128_MODE_S);
  assert_non_null(meter);
  Readings readings = {0.0, -HUGE_VAL, -HUGE_VAL, 0.0};
  RangeReference range = {0};
  const size_t step = (size_t)(audio->rate / 100.0);
  for (size_t at = 0; at < frames; at += step) {
    const size_t piece = frames - at < step ? frames - at : step;
    ebur128_add_frames_float(meter, audio->samples + 2 * at, piece);
    double value;
    if (maxima && at / step >= 39 && ebur128_loudness_momentary(meter, &value) == 0) {
      readings.momentary_max = fmax(readings.momentary_max, value);
    }
    const size_t passed = piece == step ? at / step + 1 : 0;
    if (maxima && passed >= 300 && ebur128_loudness_shortterm(meter, &value) == 0) {
      readings.shortterm_max = fmax(readings.shortterm_max, value);
    }
    if (passed >= 300 && passed % 10 == 0 && ebur128_loudness_shortterm(meter, &value) == 0) {
      range_reference_add(&range, value);
    }
  }
  ebur128_loudness_global(meter, &readings.integrated);
  readings.range = range_reference_finish(&range);
  ebur128_destroy(&meter);
  return readings;
}

static void compare(const char *name, const Audio *audio)
{
  const Readings is = ours(audio, audio->frames);
  const Readings theirs = library(audio, audio->frames, false);
  size_t excerpt = (size_t)(MAXIMA_SECONDS * audio->rate);
  excerpt = excerpt < audio->frames ? excerpt : audio->frames;
  const Readings is_excerpt = ours(audio, excerpt);
  const Readings their_excerpt = library(audio, excerpt, true);
  const double momentary = is_excerpt.momentary_max - their_excerpt.momentary_max;
  const double shortterm = is_excerpt.shortterm_max - their_excerpt.shortterm_max;
  printf("    %-22s %6.0f Hz: integrated %8.4f, %+.4f; range %7.4f, %+.4f; max M %+.4f, S %+.4f\n",
         name, audio->rate, is.integrated, is.integrated - theirs.integrated, is.range,
         is.range - theirs.range, momentary, shortterm);
  assert_true(fabs(is.integrated - theirs.integrated) <= 0.01);
  assert_true(fabs(is.range - theirs.range) <= 0.02);
  assert_true(fabs(momentary) <= 0.01);
  assert_true(fabs(shortterm) <= 0.01);
}

/* Noise of two colours whose level jumps about between -60 and -6 dB, wider and narrower. */
static Audio changing_noise(double rate, uint32_t seed)
{
  Audio audio = audio_of(rate, 2, (size_t)(rate * 40.0));
  double low[2] = {0.0, 0.0};
  double level = 0.0;
  double width = 0.0;
  const size_t length = (size_t)(rate * 0.73);
  for (size_t n = 0; n < audio.frames; ++n) {
    if (n % length == 0) {
      level = pow(10.0, (-33.0 + 27.0 * noise(&seed)) / 20.0);
      width = 0.5 + 0.5 * noise(&seed);
    }
    const double common = noise(&seed);
    for (size_t c = 0; c < 2; ++c) {
      const double white = common + width * noise(&seed);
      low[c] += 0.05 * (white - low[c]);
      audio.samples[2 * n + c] = (float)(level * (0.2 * white + low[c]));
    }
  }
  return audio;
}

static void agrees_on_changing_noise(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 48000.0};
  for (size_t r = 0; r < 2; ++r) {
    for (uint32_t seed = 1; seed <= 2; ++seed) {
      Audio audio = changing_noise(rates[r], seed * 31);
      compare("changing noise", &audio);
      free(audio.samples);
    }
  }
}

static void agrees_on_music(void **state)
{
  (void)state;
  size_t found = 0;
  for (size_t i = 0; i < sizeof shared_music_names / sizeof *shared_music_names; ++i) {
    Audio audio = shared_music(shared_music_names[i]);
    if (audio.samples == NULL) {
      printf("    SKIPPED, not there: %s\n", shared_music_names[i]);
      continue;
    }
    assert_int_equal(audio.channels, 2);
    compare(shared_music_names[i], &audio);
    ++found;
    free(audio.samples);
  }
  if (found == 0) {
    skip();
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(agrees_on_changing_noise),
      cmocka_unit_test(agrees_on_music),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
