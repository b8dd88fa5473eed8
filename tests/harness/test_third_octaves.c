/* Third octaves against closed forms: tones, white noise, Parseval's sum; centres and edges of
 * IEC 61260-1 (base ten) from memory of the standard, nominal names of ISO 266 likewise. */
#include "harness/measure/third_octaves.h"
#include "tests/harness/audio_fixture.h"
#include "tests/unit/cmocka_headers.h"

static PlanishThirdOctaveLevels levels_in(const Audio *audio, size_t block)
{
  PlanishThirdOctaves *octaves = planish_third_octaves_new(audio->rate);
  assert_non_null(octaves);
  for (size_t at = 0; at < audio->frames; at += block) {
    const size_t frames = audio->frames - at < block ? audio->frames - at : block;
    planish_third_octaves_process(octaves, audio->samples + 2 * at, frames);
  }
  PlanishThirdOctaveLevels levels;
  memset(&levels, 0, sizeof levels);
  planish_third_octaves_finish(octaves, &levels);
  planish_third_octaves_free(octaves);
  return levels;
}

static void near_to(const char *what, double is, double expected, double tolerance)
{
  printf("    %-36s %10.5f (%.5f +-%g)\n", what, is, expected, tolerance);
  assert_true(fabs(is - expected) <= tolerance);
}

static void centres_are_those_of_the_standard(void **state)
{
  (void)state;
  static const double names[] = {20,   25,   31.5, 40,    50,    63,    80,   100,
                                 125,  160,  200,  250,   315,   400,   500,  630,
                                 800,  1000, 1250, 1600,  2000,  2500,  3150, 4000,
                                 5000, 6300, 8000, 10000, 12500, 16000, 20000};
  for (size_t b = 0; b < sizeof names / sizeof *names; ++b) {
    assert_true(fabs(planish_third_octave_nominal(b) / names[b] - 1.0) < 1e-12);
    assert_true(fabs(planish_third_octave_centre(b) / names[b] - 1.0) < 0.013);
  }
  near_to("1 kHz", planish_third_octave_centre(17), 1000.0, 1e-9);
  near_to("20 kHz", planish_third_octave_centre(30), 19952.62, 0.01);
  /* 20 kHz ends at 22387 Hz: at 44.1 kHz it is the last, at 48 kHz there is a piece of 25 kHz. */
  assert_int_equal(planish_third_octave_count(44100.0), 31);
  assert_int_equal(planish_third_octave_count(48000.0), 32);
  assert_int_equal(planish_third_octave_count(384000.0), PLANISH_THIRD_OCTAVES_MAX);
}

/* One tone in each band, in the left channel; a file of a length that fits nothing. */
static void a_tone_stands_in_its_band(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 48000.0, 96000.0};
  double worst = 0.0;
  double loudest_other = -400.0;
  for (size_t r = 0; r < 3; ++r) {
    for (size_t b = 0; b < 31; b += 5) {
      const size_t fade = (size_t)rates[r];
      Audio audio = audio_of(rates[r], 2, 6 * fade + 1);
      const double turns = planish_third_octave_centre(b) / rates[r];
      for (size_t n = 0; n < audio.frames; ++n) {
        audio.samples[2 * n] = (float)(0.5 * fade_at(n, audio.frames, fade) *
                                       sin(2.0 * PLANISH_PI * turns * (double)n));
      }
      /* A smoothstep fade of degree 5 holds the mean square 181/462 of its length. */
      const double mean = 1.0 - 2.0 * (double)fade * (1.0 - 181.0 / 462.0) / (double)audio.frames;
      const double expected = 10.0 * log10(0.125 * mean);
      const PlanishThirdOctaveLevels levels = levels_in(&audio, 4096);
      worst = fmax(worst, fabs(levels.band[b].level[PLANISH_BAND_LEFT] - expected));
      worst = fmax(worst, fabs(levels.band[b].level[PLANISH_BAND_MID] - expected + 6.0206));
      worst = fmax(worst, fabs(levels.band[b].level[PLANISH_BAND_SIDE] - expected + 6.0206));
      assert_true(levels.band[b].level[PLANISH_BAND_RIGHT] == -HUGE_VAL);
      for (size_t o = 0; o < levels.count; ++o) {
        if (o > b + 1 || o + 1 < b) {
          loudest_other = fmax(loudest_other, levels.band[o].level[PLANISH_BAND_LEFT]);
        }
      }
      free(audio.samples);
    }
  }
  near_to("worst level of a tone", worst, 0.0, 0.002);
  printf("    loudest band two and more away %.1f dBFS\n", loudest_other);
  assert_true(loudest_other < -80.0);
}

static void white_noise_is_flat_and_nothing_is_lost(void **state)
{
  (void)state;
  Audio audio = audio_of(48000.0, 2, 48000 * 60 + 17);
  uint32_t seed = 1;
  double square = 0.0;
  for (size_t n = 0; n < audio.frames; ++n) {
    const double mid = 0.5 * noise(&seed);
    const double side = 0.1 * noise(&seed);
    audio.samples[2 * n] = (float)(mid + side);
    audio.samples[2 * n + 1] = (float)(mid - side);
    square += (double)audio.samples[2 * n] * (double)audio.samples[2 * n];
  }
  const PlanishThirdOctaveLevels levels = levels_in(&audio, 1000);
  const double edge = pow(10.0, 0.05);
  double sum = 0.0;
  for (size_t b = 0; b < levels.count; ++b) {
    const double low = levels.band[b].centre / edge;
    const double high = fmin(levels.band[b].centre * edge, 24000.0);
    /* Even noise within -a..a has the mean square a^2 / 3. */
    const double mid = 10.0 * log10(0.25 / 3.0 * (high - low) / 24000.0);
    /* Three standard deviations of a mean of 60 s and this width, and what the window adds. */
    const double tolerance = 3.0 * 4.343 / sqrt(60.0 * (high - low) / 1.1);
    assert_true(fabs(levels.band[b].level[PLANISH_BAND_MID] - mid) < tolerance);
    assert_true(fabs(levels.band[b].level[PLANISH_BAND_SIDE] - mid + 13.9794) < 1.5 * tolerance);
    sum += pow(10.0, levels.band[b].level[PLANISH_BAND_LEFT] / 10.0);
  }
  near_to("sum of the bands re the mean square", 10.0 * log10(sum),
          10.0 * log10(square / (double)audio.frames * (1.0 - 17.78 / 24000.0)), 0.0005);
  free(audio.samples);
}

/* A click at the very start, the middle or the very end weighs the same. */
static void every_frame_weighs_the_same(void **state)
{
  (void)state;
  const size_t places[] = {0, 1, 30000, 65535, 65536, 99999};
  double level[6];
  for (size_t i = 0; i < 6; ++i) {
    Audio audio = audio_of(48000.0, 2, 100000);
    audio.samples[2 * places[i] + 1] = 1.0F;
    level[i] = levels_in(&audio, 777).band[17].level[PLANISH_BAND_RIGHT];
    free(audio.samples);
    near_to("a click in the 1 kHz band", level[i],
            10.0 * log10((1122.018 - 891.251) / 24000.0 / 100000.0), 0.001);
  }
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  Audio audio = audio_of(11025.0, 2, 100003);
  uint32_t seed = 5;
  for (size_t n = 0; n < 2 * audio.frames; ++n) {
    audio.samples[n] = (float)noise(&seed);
  }
  const PlanishThirdOctaveLevels whole = levels_in(&audio, audio.frames);
  static const size_t blocks[] = {1, 63, 8192};
  for (size_t i = 0; i < 3; ++i) {
    const PlanishThirdOctaveLevels levels = levels_in(&audio, blocks[i]);
    assert_memory_equal(&levels, &whole, sizeof levels);
  }
  free(audio.samples);
}

static void nothing_and_bad_arguments(void **state)
{
  (void)state;
  const Audio audio = audio_of(48000.0, 2, 0);
  assert_true(levels_in(&audio, 1).band[17].level[PLANISH_BAND_MID] == -HUGE_VAL);
  free(audio.samples);
  assert_null(planish_third_octaves_new(7999.0));
  assert_null(planish_third_octaves_new(384001.0));
  assert_null(planish_third_octaves_new((double)NAN));
  planish_third_octaves_free(NULL);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(centres_are_those_of_the_standard),
      cmocka_unit_test(a_tone_stands_in_its_band),
      cmocka_unit_test(white_noise_is_flat_and_nothing_is_lost),
      cmocka_unit_test(every_frame_weighs_the_same),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(nothing_and_bad_arguments),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
