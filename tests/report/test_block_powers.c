/* Loudness of any stretch from block powers, against libebur128 on the stretch itself. */
#include "harness/report/block_powers.h"
#include "tests/harness/audio_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <ebur128.h>
#include <math.h>

static Audio music_at(double rate, double seconds)
{
  Audio audio = audio_of(rate, 2, (size_t)(rate * seconds));
  uint32_t seed = 3;
  for (size_t n = 0; n < audio.frames; ++n) {
    const double t = (double)n / rate;
    const double level = 0.02 + 0.4 * fabs(sin(0.37 * t)) * exp(-3.0 * fmod(t, 0.75));
    audio.samples[2 * n] = (float)(level * (sin(700.0 * t) + 0.5 * noise(&seed)));
    audio.samples[2 * n + 1] = (float)(0.4 * level * (sin(703.0 * t) + 0.5 * noise(&seed)));
  }
  return audio;
}

static PlanishBlockPowers *powers_of(const Audio *audio)
{
  PlanishBlockPowers *blocks = planish_block_powers_new(audio->rate);
  assert_non_null(blocks);
  /* In odd pieces: where they end must not matter. */
  for (size_t at = 0; at < audio->frames;) {
    const size_t piece = audio->frames - at < 1777 ? audio->frames - at : 1777;
    assert_true(planish_block_powers_process(blocks, audio->samples + 2 * at, piece));
    at += piece;
  }
  return blocks;
}

static double library_loudness(const Audio *audio, size_t first, size_t frames)
{
  double loudness = 0.0;
  ebur128_state *state = ebur128_init(2, (unsigned long)audio->rate, EBUR128_MODE_I);
  assert_int_equal(ebur128_add_frames_float(state, audio->samples + 2 * first, frames), 0);
  assert_int_equal(ebur128_loudness_global(state, &loudness), 0);
  ebur128_destroy(&state);
  return loudness;
}

static void stretches_read_as_libebur128_reads_them(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 48000.0, 96000.0};
  double worst = 0.0;
  for (size_t r = 0; r < sizeof rates / sizeof *rates; ++r) {
    Audio audio = music_at(rates[r], 30.0);
    PlanishBlockPowers *blocks = powers_of(&audio);
    const float *powers = planish_block_powers_values(blocks);
    assert_int_equal(planish_block_powers_count(blocks), 300);
    static const size_t stretches[][2] = {{0, 300}, {0, 150}, {37, 150}, {150, 150},
                                          {11, 30}, {95, 10}, {281, 15}};
    for (size_t n = 0; n < sizeof stretches / sizeof *stretches; ++n) {
      const uint64_t first = planish_block_start(rates[r], stretches[n][0]);
      const uint64_t end = planish_block_start(rates[r], stretches[n][0] + stretches[n][1]);
      const double ours = planish_block_loudness(powers + stretches[n][0], stretches[n][1]);
      worst = fmax(worst, fabs(ours - library_loudness(&audio, first, end - first)));
    }
    planish_block_powers_free(blocks);
    free(audio.samples);
  }
  print_message("largest difference to libebur128 %.4f LU\n", worst);
  assert_true(worst < 0.1);
}

/* EBU Tech 3341, case 3: 10 s at -36, 60 s at -23, 10 s at -36 dBFS of 1 kHz reads -23.0 LUFS; a
 * meter with no relative gate reads -24.2. Block powers of a steady tone follow from its level:
 * -23 LUFS is that of both channels at -23 dBFS. */
static void quiet_parts_are_gated(void **state)
{
  (void)state;
  float powers[800];
  for (int n = 0; n < 800; ++n) {
    const double lufs = n < 100 || n >= 700 ? -36.0 : -23.0;
    powers[n] = (float)pow(10.0, (lufs + 0.691) / 10.0);
  }
  assert_true(fabs(planish_block_loudness(powers, 800) + 23.0) < 0.05);
}

static void silence_and_too_little_have_no_loudness(void **state)
{
  (void)state;
  static const float zeros[8];
  static const float loud[3] = {1.0f, 1.0f, 1.0f};
  assert_true(planish_block_loudness(zeros, 8) == -HUGE_VAL);
  assert_true(planish_block_loudness(loud, 3) == -HUGE_VAL);
  assert_true(planish_block_loudness(NULL, 0) == -HUGE_VAL);
  planish_block_powers_free(NULL);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(stretches_read_as_libebur128_reads_them),
      cmocka_unit_test(quiet_parts_are_gated),
      cmocka_unit_test(silence_and_too_little_have_no_loudness),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
