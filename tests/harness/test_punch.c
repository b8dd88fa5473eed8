/* Punch against the closed forms of bursts that decay. */
#include "harness/measure/punch.h"
#include "tests/harness/audio_fixture.h"
#include "tests/unit/cmocka_headers.h"

enum { RATE = 48000 };

static void measure(const Audio *versions, size_t count, size_t block, PlanishPunchResult *results)
{
  PlanishPunch *punch = planish_punch_new(versions[0].rate, count);
  assert_non_null(punch);
  for (size_t at = 0; at < versions[0].frames; at += block) {
    const float *pieces[PLANISH_PUNCH_MAX_VERSIONS];
    for (size_t v = 0; v < count; ++v) {
      pieces[v] = versions[v].samples + 2 * at;
    }
    planish_punch_process(punch, pieces,
                          versions[0].frames - at < block ? versions[0].frames - at : block);
  }
  for (size_t v = 0; v < count; ++v) {
    results[v] = planish_punch_result(punch, v);
  }
  planish_punch_free(punch);
}

static void near_to(const char *what, double is, double expected, double tolerance)
{
  printf("    %-40s %9.4f (%.4f +-%g)\n", what, is, expected, tolerance);
  assert_true(fabs(is - expected) <= tolerance);
}

/* `hz` every 0.45 s, decaying by `decay` dB a second, over a bed of noise. */
static Audio bursts(double hz, double decay, double bed)
{
  Audio audio = audio_of(RATE, 2, 10 * RATE);
  uint32_t seed = 7;
  for (size_t n = 0; n < audio.frames; ++n) {
    const double t = (double)((n + 21600 - 1111) % 21600) / RATE;
    const double x =
        n < 1111 ? 0.0 : 0.5 * pow(10.0, -decay * t / 20.0) * sin(2.0 * PLANISH_PI * hz * t);
    audio.samples[2 * n] = (float)(x + bed * noise(&seed));
    audio.samples[2 * n + 1] = (float)(0.5 * x + bed * noise(&seed));
  }
  return audio;
}

/* Mean power of a decay between two times, in dB. */
static double mean_power(double decay, double from, double to)
{
  const double rate = decay * log(10.0) / 10.0;
  return 10.0 * log10((exp(-rate * from) - exp(-rate * to)) / (rate * (to - from)));
}

static void bursts_that_decay(void **state)
{
  (void)state;
  static const double decays[] = {20.0, 60.0, 120.0};
  for (size_t i = 0; i < 3; ++i) {
    Audio audio = bursts(1000.0, decays[i], 1e-5);
    PlanishPunchResult result;
    measure(&audio, 1, 4096, &result);
    near_to("onsets", (double)result.full.onsets, 22.0, 0.0);
    near_to("punch of a decay, dB", result.full.punch,
            mean_power(decays[i], 0.0, 0.01) - mean_power(decays[i], 0.05, 0.15), 0.1);
    free(audio.samples);
  }
}

/* Soft hits over a dense low bed: the whole rises by 1 dB, its treble by more. */
static void hits_in_a_dense_mix_are_found(void **state)
{
  (void)state;
  Audio audio = bursts(6000.0, 60.0, 0.0);
  for (size_t n = 0; n < audio.frames; ++n) {
    const double bed = 0.5 * sin(2.0 * PLANISH_PI * 110.0 * (double)n / RATE);
    audio.samples[2 * n] = (float)(0.5 * (double)audio.samples[2 * n] + bed);
    audio.samples[2 * n + 1] = (float)(0.5 * (double)audio.samples[2 * n + 1] + bed);
  }
  PlanishPunchResult result;
  measure(&audio, 1, 512, &result);
  near_to("onsets over a bed", (double)result.full.onsets, 22.0, 0.0);
  free(audio.samples);
}

static void nothing_starts_in_steady_sound(void **state)
{
  (void)state;
  Audio audio = audio_of(RATE, 2, 10 * RATE);
  uint32_t seed = 3;
  for (size_t n = 0; n < 2 * audio.frames; ++n) {
    audio.samples[n] = (float)(0.1 * fade_at(n / 2, audio.frames, 2 * RATE) * noise(&seed));
  }
  PlanishPunchResult result;
  measure(&audio, 1, 512, &result);
  near_to("onsets in steady noise that fades in", (double)result.full.onsets, 0.0, 1.0);
  free(audio.samples);
}

/* The second version has its attacks 3 dB up, the third is 12 dB down, the fourth has its
 * bodies 2 dB up. */
static void versions_share_their_onsets(void **state)
{
  (void)state;
  Audio audio[4];
  for (size_t v = 0; v < 4; ++v) {
    audio[v] = bursts(1000.0, 60.0, 1e-5);
  }
  for (size_t n = 1111; n < audio[0].frames; ++n) {
    const size_t since = (n - 1111) % 21600;
    for (size_t c = 0; c < 2; ++c) {
      audio[1].samples[2 * n + c] *= since < 520 ? 1.41254F : 1.0F;
      audio[2].samples[2 * n + c] *= 0.251189F;
      audio[3].samples[2 * n + c] *= since > 2000 && since < 8000 ? 1.258925F : 1.0F;
    }
  }
  PlanishPunchResult result[4];
  measure(audio, 4, 4096, result);
  assert_int_equal(result[1].full.onsets, result[0].full.onsets);
  near_to("onsets 3 dB up", result[1].full.punch - result[0].full.punch, 3.0, 0.01);
  near_to("all 12 dB down", result[2].full.punch - result[0].full.punch, 0.0, 0.001);
  near_to("bodies 2 dB up", result[3].full.punch - result[0].full.punch, -2.0, 0.01);
  for (size_t v = 0; v < 4; ++v) {
    free(audio[v].samples);
  }
}

/* 60 Hz for 40 ms, then 6.02 dB less; the second version has 3 kHz all the time as well. */
static void the_low_band_stands_alone(void **state)
{
  (void)state;
  Audio audio[2] = {audio_of(RATE, 2, 10 * RATE), audio_of(RATE, 2, 10 * RATE)};
  for (size_t n = 0; n < audio[0].frames; ++n) {
    const double t = (double)(n % 24000) / RATE;
    const double low =
        sin(2.0 * PLANISH_PI * 60.0 * t) * (t < 0.04 ? 0.4 : (t < 0.3 ? 0.2 : 0.0001));
    for (size_t c = 0; c < 2; ++c) {
      audio[0].samples[2 * n + c] = (float)low;
      audio[1].samples[2 * n + c] =
          (float)(low + 0.5 * sin(2.0 * PLANISH_PI * 3000.0 * (double)n / RATE));
    }
  }
  PlanishPunchResult result[2];
  measure(audio, 2, 4096, result);
  near_to("onsets in the low band", (double)result[0].low.onsets, 20.0, 0.0);
  near_to("punch in the low band", result[0].low.punch, 6.0206, 1.0);
  near_to("the same beside 3 kHz", result[1].low.punch - result[0].low.punch, 0.0, 0.001);
  assert_true(fabs(result[1].full.punch) < 1.5);
  free(audio[0].samples);
  free(audio[1].samples);
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  static const double rates[] = {8000.0, 44100.0, 192000.0};
  for (size_t r = 0; r < 3; ++r) {
    Audio audio = bursts(700.0, 60.0, 0.001);
    audio.rate = rates[r];
    PlanishPunchResult whole;
    measure(&audio, 1, audio.frames, &whole);
    static const size_t blocks[] = {1, 63, 8192};
    for (size_t i = 0; i < 3; ++i) {
      PlanishPunchResult result;
      measure(&audio, 1, blocks[i], &result);
      assert_memory_equal(&result, &whole, sizeof result);
    }
    free(audio.samples);
  }
}

static void nothing_and_bad_arguments(void **state)
{
  (void)state;
  PlanishPunch *punch = planish_punch_new(48000.0, 1);
  assert_int_equal(planish_punch_result(punch, 0).full.onsets, 0);
  assert_true(isnan(planish_punch_result(punch, 0).low.punch));
  planish_punch_free(punch);
  assert_null(planish_punch_new(7999.0, 1));
  assert_null(planish_punch_new((double)NAN, 1));
  assert_null(planish_punch_new(48000.0, 0));
  assert_null(planish_punch_new(48000.0, PLANISH_PUNCH_MAX_VERSIONS + 1));
  planish_punch_free(NULL);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bursts_that_decay),
      cmocka_unit_test(hits_in_a_dense_mix_are_found),
      cmocka_unit_test(nothing_starts_in_steady_sound),
      cmocka_unit_test(versions_share_their_onsets),
      cmocka_unit_test(the_low_band_stands_alone),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(nothing_and_bad_arguments),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
