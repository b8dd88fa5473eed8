/* Excerpts of shorter words: dithered, and turned down where they would not fit. */
#include "common/dsp/maths.h"
#include "harness/report/excerpt.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

enum { FRAMES = 50000 };

static float sound[2 * FRAMES];

static PlanishTrack *track_of(double level)
{
  PlanishError error = {0};
  PlanishTrack *track = planish_track_new(in_folder("beside"), 0, &error);
  for (size_t n = 0; n < 2 * FRAMES; ++n) {
    sound[n] = (float)(level * sin(0.05 * (double)(n / 2) + (double)(n % 2)));
  }
  assert_true(planish_track_write(track, sound, FRAMES, &error));
  return track;
}

static float *decoded(const PlanishExcerptJob *job, SF_INFO *info)
{
  PlanishError error = {0};
  PlanishExcerpt excerpt;
  size_t frames = 0;
  assert_true(planish_excerpt_make(&excerpt, job, &error));
  FILE *file = fopen(in_folder("excerpt.flac"), "wb");
  assert_int_equal(fwrite(excerpt.bytes, 1, excerpt.size, file), excerpt.size);
  fclose(file);
  free(excerpt.bytes);
  float *got = read_audio(in_folder("excerpt.flac"), &frames, info);
  assert_int_equal(frames, job->frames);
  return got;
}

static void check_word(unsigned bits)
{
  SF_INFO info;
  PlanishTrack *track = track_of(0.3);
  const PlanishExcerptJob job = {track, 48000.0, 1.0, bits, 100, FRAMES - 200};
  float *got = decoded(&job, &info);
  const double lsb = planish_exp2(1.0 - (double)bits);
  double worst = 0.0;
  double square = 0.0;
  for (size_t n = 0; n < 2 * job.frames; ++n) {
    const double error = ((double)got[n] - (double)sound[2 * job.first + n]) / lsb;
    const double lsbs = (double)got[n] / lsb;
    assert_true(lsbs == floor(lsbs));
    worst = planish_max(worst, fabs(error));
    square += error * error;
  }
  square /= 2.0 * (double)job.frames;
  print_message("%u bit: error at most %.2f LSB, variance %.4f LSB^2\n", bits, worst, square);
  assert_true(worst <= 1.5);
  /* Triangular dither and rounding: 1/4 LSB^2 (Lipshitz, Wannamaker, Vanderkooy 1992). */
  assert_true(fabs(square - 0.25) < 0.005);
  free(got);
  planish_track_free(track);
}

static void short_words_have_triangular_dither(void **state)
{
  (void)state;
  check_word(16);
  check_word(20);
}

static void over_full_scale_is_turned_down(void **state)
{
  (void)state;
  SF_INFO info;
  PlanishTrack *track = track_of(2.0);
  for (unsigned bits = 16; bits <= 24; bits += 4) {
    const PlanishExcerptJob job = {track, 44100.0, 0.5, bits, 0, FRAMES};
    float *got = decoded(&job, &info);
    for (size_t n = 0; n < 2 * FRAMES; ++n) {
      assert_true(fabs((double)got[n] - 0.5 * (double)sound[n]) < 2.5 * planish_exp2(1.0 - bits));
    }
    free(got);
  }
  planish_track_free(track);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_teardown(short_words_have_triangular_dither, empty_folder),
      cmocka_unit_test_teardown(over_full_scale_is_turned_down, empty_folder),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
