/* Sound that is kept for a while: the same samples back, from anywhere, and nothing left behind. */
#include "harness/audio/track.h"
#include "tests/harness/files_fixture.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { FRAMES = 10000, CHUNK = 333 };

static void fill(float *interleaved, uint64_t first, size_t frames)
{
  for (size_t n = 0; n < 2 * frames; ++n) {
    interleaved[n] = (float)(2 * first + n) * 1e-6f;
  }
}

static PlanishTrack *written(void)
{
  PlanishError error = {0};
  PlanishTrack *track = planish_track_new(in_folder("master.wav"), FRAMES, &error);
  assert_non_null(track);
  float block[2 * CHUNK];
  for (uint64_t at = 0; at < FRAMES; at += CHUNK) {
    const size_t frames = FRAMES - at < CHUNK ? (size_t)(FRAMES - at) : CHUNK;
    fill(block, at, frames);
    assert_true(planish_track_write(track, block, frames, &error));
  }
  return track;
}

static void what_was_written_comes_back_from_anywhere(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishTrack *track = written();
  assert_int_equal(planish_track_frames(track), FRAMES);
  static const uint64_t places[] = {0, 1, 4999, FRAMES - CHUNK};
  for (size_t n = 0; n < sizeof places / sizeof *places; ++n) {
    float got[2 * CHUNK];
    float wanted[2 * CHUNK];
    fill(wanted, places[n], CHUNK);
    assert_true(planish_track_read(track, places[n], got, CHUNK, &error));
    assert_memory_equal(got, wanted, sizeof got);
  }
  planish_track_free(track);
}

static void past_the_end_is_silence(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishTrack *track = written();
  float got[6] = {1.0f, 1.0f, 1.0f, 1.0f, 1.0f, 1.0f};
  assert_true(planish_track_read(track, FRAMES - 1, got, 3, &error));
  assert_true(got[0] == (float)(2 * (FRAMES - 1)) * 1e-6f);
  for (size_t n = 2; n < 6; ++n) {
    assert_true(got[n] == 0.0f);
  }
  assert_true(planish_track_read(track, UINT64_MAX, got, 3, &error));
  assert_true(got[0] == 0.0f);
  planish_track_free(track);
}

static void cleared_it_holds_what_is_written_anew(void **state)
{
  (void)state;
  PlanishError error = {0};
  PlanishTrack *track = written();
  planish_track_clear(track);
  assert_int_equal(planish_track_frames(track), 0);
  assert_true(planish_track_write(track, (const float[]){0.5f, -0.5f}, 1, &error));
  float got[4];
  assert_true(planish_track_read(track, 0, got, 2, &error));
  assert_true(got[0] == 0.5f && got[1] == -0.5f && got[2] == 0.0f);
  planish_track_free(track);
}

static void nothing_is_left_even_while_it_lives(void **state)
{
  (void)state;
  PlanishTrack *track = written();
  assert_int_equal(count_files(), 0);
  planish_track_free(track);
  assert_int_equal(count_files(), 0);
  planish_track_free(NULL);
}

static void no_folder_and_no_room_are_said(void **state)
{
  (void)state;
  PlanishError error = {0};
  assert_null(planish_track_new(in_folder("nowhere/master.wav"), 0, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_FILE);
  error = (PlanishError){0};
  assert_null(planish_track_new(in_folder("master.wav"), UINT64_MAX / 16, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_FILE);
  assert_non_null(strstr(error.text, "MB are free"));
  assert_int_equal(count_files(), 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_teardown(what_was_written_comes_back_from_anywhere, empty_folder),
      cmocka_unit_test_teardown(past_the_end_is_silence, empty_folder),
      cmocka_unit_test_teardown(cleared_it_holds_what_is_written_anew, empty_folder),
      cmocka_unit_test_teardown(nothing_is_left_even_while_it_lives, empty_folder),
      cmocka_unit_test_teardown(no_folder_and_no_room_are_said, empty_folder),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
