/* The demo mix: the same bytes everywhere, and what a mastering engineer may expect of it. */
#include "common/dsp/maths.h"
#include "presets-demo/mix/score.h"
#include "presets-demo/mix/song.h"
#include "presets-demo/mix/wave.h"
#include "tests/unit/cmocka_headers.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

/* FNV-1a, 64 bit (Fowler, Noll, Vo), of the file's samples. It changes with the song alone: a
 * different digest on another machine or compiler means that the arithmetic there is not ours.
 * After a change to the song, take the new one from this test's output. */
#define EXPECTED_DIGEST UINT64_C(0x9c29c7f6f6bd85b0)

#define RATE 48000

static double level(const PlanishDemoTrack *track, size_t from, size_t to, double side)
{
  double sum = 0.0;
  for (size_t n = from; n < to; ++n) {
    const double x = 0.5 * (track->left[n] + side * track->right[n]);
    sum += x * x;
  }
  return planish_level_of_power(sum / (double)(to - from));
}

static double peak(const PlanishDemoTrack *track, size_t from, size_t to)
{
  double most = 0.0;
  for (size_t n = from; n < to; ++n) {
    most = planish_max(most, planish_max(fabs(track->left[n]), fabs(track->right[n])));
  }
  return most;
}

static double bar_level(const PlanishDemoTrack *track, size_t from, size_t to)
{
  return level(track, (size_t)planish_demo_score_frame((double)(from * PLANISH_DEMO_STEPS)),
               (size_t)planish_demo_score_frame((double)(to * PLANISH_DEMO_STEPS)), 1.0);
}

static void the_bytes_are_those_expected(void **state)
{
  const PlanishDemoSong *song = *state;
  uint64_t digest = UINT64_C(14695981039346656037);
  for (size_t n = 0; n < song->mix.frames; ++n) {
    uint8_t bytes[PLANISH_DEMO_FRAME_BYTES];
    planish_demo_wave_frame(&song->mix, n, bytes);
    for (size_t i = 0; i < sizeof bytes; ++i) {
      digest = (digest ^ bytes[i]) * UINT64_C(1099511628211);
    }
  }
  printf("digest 0x%016" PRIx64 "\n", digest);
  assert_true(digest == EXPECTED_DIGEST);
}

static void it_starts_and_ends_in_silence(void **state)
{
  const PlanishDemoSong *song = *state;
  const size_t frames = song->mix.frames;
  assert_int_equal(frames, 60 * RATE);
  assert_true(peak(&song->mix, 0, RATE / 4) == 0.0);
  assert_true(peak(&song->mix, frames - RATE / 4, frames) == 0.0);
}

static void its_level_is_that_of_an_unmastered_mix(void **state)
{
  const PlanishDemoSong *song = *state;
  const size_t frames = song->mix.frames;
  double left = 0.0;
  double right = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    left += song->mix.left[n];
    right += song->mix.right[n];
  }
  const double highest = planish_level_of(peak(&song->mix, 0, frames));
  const double apart = level(&song->mix, 0, frames, 1.0) - level(&song->mix, 0, frames, -1.0);
  printf("peak %.2f dBFS, mid over side %.1f dB, offset %.1g %.1g\n", highest, apart,
         left / (double)frames, right / (double)frames);
  assert_true(fabs(highest + 6.0) <= 0.3);
  assert_true(apart >= 6.0 && apart <= 9.0);
  assert_true(fabs(left) / (double)frames < 1e-6 && fabs(right) / (double)frames < 1e-6);
}

static void its_sections_differ(void **state)
{
  const PlanishDemoSong *song = *state;
  const double intro = bar_level(&song->mix, 0, 3);
  const double verse = bar_level(&song->mix, 4, 12);
  const double chorus = bar_level(&song->mix, 12, 20);
  const double bridge = bar_level(&song->mix, 21, 23);
  const double last = bar_level(&song->mix, 24, 32);
  printf("rms of the mid: %.1f %.1f %.1f %.1f %.1f dB\n", intro, verse, chorus, bridge, last);
  assert_true(verse - intro >= 8.0);
  assert_true(chorus - verse >= 0.5);
  assert_true(chorus - bridge >= 4.0);
  assert_true(last - chorus >= 0.3);
}

static void its_stems_add_up(void **state)
{
  const PlanishDemoSong *song = *state;
  double worst = 0.0;
  for (size_t n = 0; n < song->mix.frames; ++n) {
    double left = -song->mix.left[n];
    double right = -song->mix.right[n];
    for (size_t i = 0; i < PLANISH_DEMO_STEMS; ++i) {
      left += song->stems[i].left[n];
      right += song->stems[i].right[n];
    }
    worst = planish_max(worst, planish_max(fabs(left), fabs(right)));
  }
  assert_true(worst < 1e-12);
}

static void a_frame_is_written_low_byte_first(void **state)
{
  (void)state;
  double left[3] = {0.5, -1.0 / 8388608.0, 2.0};
  double right[3] = {-0.5, 0.6 / 8388608.0, -2.0};
  const PlanishDemoTrack track = {left, right, 3};
  const uint8_t expected[3][PLANISH_DEMO_FRAME_BYTES] = {
      {0x00, 0x00, 0x40, 0x00, 0x00, 0xc0},
      {0xff, 0xff, 0xff, 0x01, 0x00, 0x00},
      {0xff, 0xff, 0x7f, 0x00, 0x00, 0x80},
  };
  for (size_t n = 0; n < 3; ++n) {
    uint8_t bytes[PLANISH_DEMO_FRAME_BYTES];
    planish_demo_wave_frame(&track, n, bytes);
    assert_memory_equal(bytes, expected[n], sizeof bytes);
  }
}

static int play(void **state)
{
  static PlanishDemoSong song;
  *state = &song;
  return planish_demo_song_play(&song) ? 0 : -1;
}

static int put_away(void **state)
{
  planish_demo_song_free(*state);
  return 0;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_bytes_are_those_expected),
      cmocka_unit_test(it_starts_and_ends_in_silence),
      cmocka_unit_test(its_level_is_that_of_an_unmastered_mix),
      cmocka_unit_test(its_sections_differ),
      cmocka_unit_test(its_stems_add_up),
      cmocka_unit_test(a_frame_is_written_low_byte_first),
  };
  return cmocka_run_group_tests(tests, play, put_away);
}
