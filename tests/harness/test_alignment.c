/* Delays of known signals; parts of a frame by sums of sines, whose delay is exact. */
#include "harness/compare/alignment.h"
#include "tests/harness/audio_fixture.h"
#include "tests/unit/cmocka_headers.h"

enum { RATE = 48000, LENGTH = 400000 };

static PlanishAlignment align_in(const Audio *a, const Audio *b, size_t block)
{
  PlanishAligner *aligner = planish_aligner_new(a->rate);
  assert_non_null(aligner);
  float *pieces[2] = {calloc(2 * block, sizeof(float)), calloc(2 * block, sizeof(float))};
  const Audio *audio[2] = {a, b};
  const size_t longest = a->frames > b->frames ? a->frames : b->frames;
  for (size_t at = 0; at < longest; at += block) {
    for (int n = 0; n < 2; ++n) {
      const size_t left = at < audio[n]->frames ? audio[n]->frames - at : 0;
      memset(pieces[n], 0, 2 * block * sizeof(float));
      memcpy(pieces[n], audio[n]->samples + 2 * at,
             2 * (left < block ? left : block) * sizeof(float));
    }
    planish_aligner_process(aligner, pieces[0], pieces[1], block);
  }
  const PlanishAlignment found = planish_aligner_finish(aligner);
  planish_aligner_free(aligner);
  free(pieces[0]);
  free(pieces[1]);
  return found;
}

static PlanishAlignment align(const Audio *a, const Audio *b)
{
  return align_in(a, b, 4096);
}

static void near_to(const char *what, double is, double expected, double tolerance)
{
  printf("    %-44s %16.9f (%.9f +-%g)\n", what, is, expected, tolerance);
  assert_true(fabs(is - expected) <= tolerance);
}

/* Noise with more low end than treble, as music has, in two channels that share half of it. */
static Audio music_like(size_t frames, uint32_t seed)
{
  Audio audio = audio_of(RATE, 2, frames);
  double low[3] = {0.0, 0.0, 0.0};
  for (size_t n = 0; n < frames; ++n) {
    for (int i = 0; i < 3; ++i) {
      const double x = noise(&seed);
      low[i] += 0.02 * (x - low[i]);
    }
    const double fade = fade_at(n, frames, RATE / 2);
    audio.samples[2 * n] = (float)(fade * (low[0] + low[1] + 0.01 * noise(&seed)));
    audio.samples[2 * n + 1] = (float)(fade * (low[0] + low[2] + 0.01 * noise(&seed)));
  }
  return audio;
}

/* `frames` later, times a factor a channel. */
static Audio moved(const Audio *from, int frames, double left, double right)
{
  Audio audio = audio_of(from->rate, 2, from->frames);
  for (size_t n = 0; n < audio.frames; ++n) {
    const int64_t source = (int64_t)n - frames;
    if (source >= 0 && source < (int64_t)from->frames) {
      audio.samples[2 * n] = (float)(left * (double)from->samples[2 * source]);
      audio.samples[2 * n + 1] = (float)(right * (double)from->samples[2 * source + 1]);
    }
  }
  return audio;
}

static void whole_frames(void **state)
{
  (void)state;
  static const int delays[] = {123, -777, 95000};
  Audio a = music_like(LENGTH, 1);
  for (size_t n = 0; n < sizeof delays / sizeof *delays; ++n) {
    Audio b = moved(&a, delays[n], 0.5, 0.5);
    const PlanishAlignment found = align(&a, &b);
    near_to("delay", found.delay, delays[n], delays[n] < 1000 ? 1e-6 : 1e-5);
    printf("    correlation %.3f\n", found.correlation);
    assert_true(!found.turned[0] && !found.turned[1]);
    assert_true(found.correlation > 0.85);
    free(b.samples);
  }
  free(a.samples);
}

static void polarity_is_told_by_channel(void **state)
{
  (void)state;
  Audio a = music_like(LENGTH, 2);
  for (int which = 1; which < 4; ++which) {
    Audio b = moved(&a, 50, (which & 1) ? -0.7 : 0.7, (which & 2) ? -0.7 : 0.7);
    const PlanishAlignment found = align(&a, &b);
    near_to("delay of turned channels", found.delay, 50.0, 1e-6);
    assert_int_equal(found.turned[0], (which & 1) != 0);
    assert_int_equal(found.turned[1], (which & 2) != 0);
    free(b.samples);
  }
  free(a.samples);
}

/* 400 sines, 30 Hz to 20 kHz, each from its own phase; faded, so that both begin in silence.
 * Bright: equally loud, at equal distances up to just under half the rate. */
static Audio sines(double late, bool bright)
{
  Audio audio = audio_of(RATE, 2, LENGTH / 2);
  for (int k = 0; k < 400; ++k) {
    const double turns =
        bright ? (k + 1) / 802.0 : 30.0 * pow(20000.0 / 30.0, (double)k / 399.0) / RATE;
    const double level = bright ? 0.002 : 0.05 * sqrt(30.0 / (turns * RATE));
    for (size_t n = 0; n < audio.frames; ++n) {
      const double t = (double)n - late;
      const double edge = planish_min(t, (double)audio.frames - 1.0 - t) / RATE;
      const double x =
          level * planish_smoothstep(edge) * sin(2.0 * PLANISH_PI * turns * t + 1.7 * k * k);
      audio.samples[2 * n] += (float)x;
      audio.samples[2 * n + 1] += (float)(k % 2 ? x : 0.3 * x);
    }
  }
  return audio;
}

static void parts_of_a_frame(void **state)
{
  (void)state;
  static const double delays[] = {0.5, 10.25, -3.1};
  Audio a = sines(0.0, false);
  for (size_t n = 0; n < sizeof delays / sizeof *delays; ++n) {
    Audio b = sines(delays[n], false);
    near_to("delay between frames", align(&a, &b).delay, delays[n], 1e-5);
    free(b.samples);
  }
  free(a.samples);
}

/* As loud up there as below, where a peak is narrow: a parabola over a frame misses it. */
static void parts_of_a_frame_in_bright_sound(void **state)
{
  (void)state;
  static const double delays[] = {0.1, 0.37, -0.4, 0.5, 300.45};
  Audio a = sines(0.0, true);
  for (size_t n = 0; n < sizeof delays / sizeof *delays; ++n) {
    Audio b = sines(delays[n], true);
    near_to("delay of bright sound", align(&a, &b).delay, delays[n], 1e-5);
    free(b.samples);
  }
  free(a.samples);
}

/* A low end that comes 2 ms late by a filter, as high passes make it, does not move the rest. */
static void a_filtered_low_end_does_not_count(void **state)
{
  (void)state;
  Audio a = music_like(LENGTH, 3);
  Audio b = moved(&a, 40, 1.0, 1.0);
  for (size_t c = 0; c < 2; ++c) {
    double low = 0.0;
    double lower = 0.0;
    for (size_t n = 0; n < b.frames; ++n) {
      const double x = (double)b.samples[2 * n + c];
      low += 0.02 * (x - low);
      lower += 0.02 * (low - lower);
      b.samples[2 * n + c] = (float)(x - 1.9 * lower);
    }
  }
  near_to("delay with another low end", align(&a, &b).delay, 40.0, 0.1);
  free(a.samples);
  free(b.samples);
}

/* A low end turned by an all-pass, as a low end to the middle makes it, cancels most of the plain
 * correlation: the rest is alike all the same. */
static void a_turned_low_end_does_not_hide_the_rest(void **state)
{
  (void)state;
  Audio a = music_like(LENGTH, 3);
  Audio b = moved(&a, 40, 1.0, 1.0);
  double plain = 0.0;
  double power = 0.0;
  for (size_t c = 0; c < 2; ++c) {
    double low[3] = {0.0, 0.0, 0.0};
    for (size_t n = 0; n < b.frames; ++n) {
      double x = (double)b.samples[2 * n + c];
      for (int i = 0; i < 3; ++i) { /* (1 - pole) / (1 + pole), three times over */
        low[i] += 0.005 * (x - low[i]);
        x -= 2.0 * low[i];
      }
      b.samples[2 * n + c] = (float)x;
      plain += n < 40 ? 0.0 : x * (double)a.samples[2 * (n - 40) + c];
      power += x * x;
    }
  }
  printf("    plain correlation %.3f\n", plain / power);
  assert_true(fabs(plain / power) < 0.3);
  const PlanishAlignment found = align(&a, &b);
  near_to("delay with a turned low end", found.delay, 40.0, 0.1);
  printf("    correlation %.3f\n", found.correlation);
  assert_true(found.correlation > 0.7);
  assert_true(!found.turned[0] && !found.turned[1]);
  free(a.samples);
  free(b.samples);
}

/* Two mixes that have a bass in common and nothing else. */
static void a_narrow_part_in_common_is_enough(void **state)
{
  (void)state;
  Audio a = audio_of(RATE, 2, LENGTH);
  Audio b = audio_of(RATE, 2, LENGTH);
  uint32_t seed = 11;
  double low[3] = {0.0, 0.0, 0.0};
  for (size_t n = 0; n < LENGTH; ++n) {
    double x = fade_at(n, LENGTH, RATE / 2) * noise(&seed);
    for (int i = 0; i < 3; ++i) {
      low[i] += 0.02 * (x - low[i]);
      x = low[i];
    }
    for (size_t c = 0; c < 2; ++c) {
      a.samples[2 * n + c] += (float)(x + 0.003 * noise(&seed));
      if (n + 300 < LENGTH) {
        b.samples[2 * (n + 300) + c] += (float)x;
      }
      b.samples[2 * n + c] += (float)(0.003 * noise(&seed));
    }
  }
  const PlanishAlignment found = align(&a, &b);
  near_to("delay of the bass in common", found.delay, 300.0, 1.0);
  printf("    correlation %.3f\n", found.correlation);
  assert_true(found.correlation > 0.5);
  free(a.samples);
  free(b.samples);
}

static void noise_on_top_and_other_lengths(void **state)
{
  (void)state;
  Audio a = music_like(LENGTH, 4);
  Audio b = moved(&a, -321, 1.0, 1.0);
  uint32_t seed = 9;
  for (size_t n = 0; n < 2 * b.frames; ++n) {
    b.samples[n] += (float)(1e-4 * noise(&seed));
  }
  b.frames = 200000;
  near_to("delay of a noisy half", align(&a, &b).delay, -321.0, 1e-3);
  const PlanishAlignment back = align(&b, &a);
  near_to("and the other way round", back.delay, 321.0, 1e-3);
  free(a.samples);
  free(b.samples);
}

static void unrelated_and_silent(void **state)
{
  (void)state;
  Audio a = music_like(LENGTH, 5);
  Audio b = music_like(LENGTH, 6);
  const double correlation = align(&a, &b).correlation;
  printf("    correlation of unrelated noise %.4f\n", correlation);
  assert_true(correlation < 0.1);
  memset(b.samples, 0, 2 * b.frames * sizeof(float));
  const PlanishAlignment found = align(&a, &b);
  assert_true(found.delay == 0.0 && found.correlation == 0.0);
  a.frames = b.frames = 1;
  assert_true(align(&a, &b).correlation == 0.0);
  free(a.samples);
  free(b.samples);
}

/* Wherever the sound lies, in the one stretch that it is looked at in or where two of them meet. */
static void what_is_alike_is_told_as_that(void **state)
{
  (void)state;
  enum { SOUND = 170000 };
  static const int places[] = {0, 100000, 250000, 400000, 580000};
  for (size_t n = 0; n < sizeof places / sizeof *places; ++n) {
    Audio sound = music_like(SOUND, 11);
    Audio a = audio_of(RATE, 2, 800000);
    memcpy(a.samples + (size_t)2 * (size_t)places[n], sound.samples, sizeof(float) * 2 * SOUND);
    Audio b = moved(&a, 20, 0.5, 0.5);
    near_to("correlation of what is alike", align(&a, &b).correlation, 1.0, 0.01);
    free(sound.samples);
    free(a.samples);
    free(b.samples);
  }
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  Audio a = music_like(150000, 7);
  Audio b = moved(&a, 1000, 0.3, -0.3);
  a.rate = b.rate = 8000.0;
  const PlanishAlignment whole = align_in(&a, &b, 150000);
  near_to("delay at 8 kHz", whole.delay, 1000.0, 1e-6);
  const PlanishAlignment pieces = align_in(&a, &b, 63);
  assert_true(pieces.delay == whole.delay && pieces.correlation == whole.correlation);
  free(a.samples);
  free(b.samples);
}

static void bad_arguments_are_refused(void **state)
{
  (void)state;
  assert_null(planish_aligner_new(7999.0));
  assert_null(planish_aligner_new(384001.0));
  assert_null(planish_aligner_new((double)NAN));
  planish_aligner_free(NULL);
  assert_int_equal(planish_aligner_range(48000.0), 96000);
  assert_int_equal(planish_aligner_range(384000.0), 400000);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(whole_frames),
      cmocka_unit_test(polarity_is_told_by_channel),
      cmocka_unit_test(parts_of_a_frame),
      cmocka_unit_test(parts_of_a_frame_in_bright_sound),
      cmocka_unit_test(a_filtered_low_end_does_not_count),
      cmocka_unit_test(a_turned_low_end_does_not_hide_the_rest),
      cmocka_unit_test(a_narrow_part_in_common_is_enough),
      cmocka_unit_test(noise_on_top_and_other_lengths),
      cmocka_unit_test(unrelated_and_silent),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(what_is_alike_is_told_as_that),
      cmocka_unit_test(bad_arguments_are_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
