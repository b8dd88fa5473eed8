/* An account's memory: how much there is of it, that it does not grow with the sound, and that each
 * allocation may fail without a crash or a leak. Linked with --wrap for the functions below. */
#include "tests/harness/distortion_fixture.h"

#include <fftw3.h>

void *__real_calloc(size_t count, size_t size);
void *__real_aligned_alloc(size_t alignment, size_t size);
void *__real_fftw_malloc(size_t size);
void __real_free(void *block);
void __real_fftw_free(void *block);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_aligned_alloc(size_t alignment, size_t size);
void *__wrap_fftw_malloc(size_t size);
void __wrap_free(void *block);
void __wrap_fftw_free(void *block);

static bool counting;
static int until_failure; /* allocations that still succeed; under 0: all */
static int living;
static size_t asked; /* bytes */

static bool may_allocate(size_t size)
{
  if (!counting) {
    return true;
  }
  if (until_failure == 0) {
    return false;
  }
  until_failure -= until_failure > 0;
  asked += size;
  ++living;
  return true;
}

void *__wrap_calloc(size_t count, size_t size)
{
  return may_allocate(count * size) ? __real_calloc(count, size) : NULL;
}

void *__wrap_aligned_alloc(size_t alignment, size_t size)
{
  return may_allocate(size) ? __real_aligned_alloc(alignment, size) : NULL;
}

void *__wrap_fftw_malloc(size_t size)
{
  return may_allocate(size) ? __real_fftw_malloc(size) : NULL;
}

void __wrap_free(void *block)
{
  living -= counting && block != NULL;
  __real_free(block);
}

void __wrap_fftw_free(void *block)
{
  living -= counting && block != NULL;
  __real_fftw_free(block);
}

static PlanishTrack *noise_track(double seconds, double rate, double clip)
{
  Audio audio = sound_of((size_t)(seconds * rate));
  uint64_t seed = 5;
  for (size_t n = 0; n < audio.frames; ++n) {
    audio.channel[0][n] = 0.2 * sound_noise(&seed);
    audio.channel[1][n] = 0.2 * sound_noise(&seed);
  }
  sound_clip(&audio, clip);
  PlanishTrack *track = sound_track(&audio);
  audio_free(&audio);
  return track;
}

/* Bytes asked for, of which a part may have been given back on the way. */
static size_t memory_of(double seconds, double rate)
{
  PlanishTrack *before = noise_track(seconds, rate, 1.0);
  PlanishTrack *after = noise_track(seconds, rate, 0.19);
  PlanishDistortion found;
  PlanishError error = {0};
  counting = true;
  until_failure = -1;
  asked = 0;
  assert_true(planish_distortion_pair(before, after, rate, &found, &error));
  counting = false;
  printf("    %.0f s at %.0f Hz: %.2f MB\n", seconds, rate, (double)asked * 1e-6);
  planish_track_free(before);
  planish_track_free(after);
  return asked;
}

static void memory_does_not_grow_with_the_sound(void **state)
{
  (void)state;
  const size_t brief = memory_of(120.0, 8000.0);
  const size_t lengthy = memory_of(1200.0, 8000.0);
  assert_true(lengthy < brief + 20000);
  assert_true(memory_of(10.0, 48000.0) < 40000000);
}

static void any_failure_leaves_nothing_behind(void **state)
{
  (void)state;
  PlanishTrack *before = noise_track(10.0, 8000.0, 1.0);
  PlanishTrack *after = noise_track(10.0, 8000.0, 0.19);
  int allowed = 0;
  bool done = false;
  for (; !done && allowed < 200; allowed += done ? 0 : 1) {
    PlanishDistortion found;
    PlanishError error = {0};
    counting = true;
    until_failure = allowed;
    living = 0;
    done = planish_distortion_pair(before, after, 8000.0, &found, &error);
    counting = false;
    assert_int_equal(living, 0);
    assert_true(done || error.outcome == PLANISH_BAD_FILE);
  }
  printf("    %d allocations\n", allowed);
  assert_true(done && allowed >= 30);
  planish_track_free(before);
  planish_track_free(after);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(memory_does_not_grow_with_the_sound),
      cmocka_unit_test(any_failure_leaves_nothing_behind),
  };
  return cmocka_run_group_tests_name("memory of accounts", tests, make_folder, remove_folder);
}
