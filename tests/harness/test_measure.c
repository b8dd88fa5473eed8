/* Whole-file measurement against closed forms of simple signals. */
#include "harness/measure/measure.h"
#include "tests/harness/audio_fixture.h"
#include "tests/unit/cmocka_headers.h"

enum { RATE = 48000 };

static PlanishMeasurement measure_in(const Audio *audio, size_t block)
{
  PlanishMeasure *measure = planish_measure_new(audio->rate, audio->channels);
  assert_non_null(measure);
  for (size_t at = 0; at < audio->frames; at += block) {
    const size_t frames = audio->frames - at < block ? audio->frames - at : block;
    planish_measure_process(measure, audio->samples + at * audio->channels, frames);
  }
  PlanishMeasurement result;
  planish_measure_finish(measure, &result);
  planish_measure_free(measure);
  return result;
}

static PlanishMeasurement measure(const Audio *audio)
{
  return measure_in(audio, 4096);
}

static void near_to(const char *what, double is, double expected, double tolerance)
{
  printf("    %-36s %10.5f (%.5f +-%g)\n", what, is, expected, tolerance);
  assert_true(fabs(is - expected) <= tolerance);
}

/* 997 Hz at `level` dB, times a factor a channel. */
static Audio tone(double seconds, double level, double left, double right)
{
  Audio audio = audio_of(RATE, 2, (size_t)(seconds * RATE));
  for (size_t n = 0; n < audio.frames; ++n) {
    const double x = pow(10.0, level / 20.0) * fade_at(n, audio.frames, RATE / 100) *
                     sin(2.0 * PLANISH_PI * 997.0 * (double)n / RATE);
    audio.samples[2 * n] = (float)(left * x);
    audio.samples[2 * n + 1] = (float)(right * x);
  }
  return audio;
}

static void a_stereo_tone(void **state)
{
  (void)state;
  Audio audio = tone(10.0, -23.0, 1.0, 1.0);
  const PlanishMeasurement m = measure(&audio);
  assert_int_equal(m.frames, audio.frames);
  assert_int_equal(m.channels, 2);
  near_to("duration", m.duration, 10.0, 1e-12);
  near_to("integrated", m.integrated, -23.0, 0.01);
  near_to("momentary max", m.momentary_max, -23.0, 0.01);
  near_to("short-term max", m.shortterm_max, -23.0, 0.01);
  near_to("loudness range", m.range, 0.0, 0.01);
  near_to("true peak", m.true_peak, -23.0, 0.001);
  near_to("sample peak", m.sample_peak, -23.0, 0.001);
  near_to("PLR", m.plr, 0.0, 0.01);
  near_to("smallest PSR", m.psr_min, 0.0, 0.01);
  near_to("RMS", m.rms, -26.0103, 0.01);
  near_to("RMS of mid", m.mid_rms, -26.0103, 0.01);
  assert_true(m.side_rms == -HUGE_VAL);
  near_to("correlation", m.correlation, 1.0, 1e-12);
  near_to("loss in mono", m.mono_loss, 0.0, 1e-9);
  assert_int_equal(m.clipped_runs, 0);
  free(audio.samples);
}

static void mono_counts_as_both_channels(void **state)
{
  (void)state;
  Audio stereo = tone(5.0, -12.0, 1.0, 1.0);
  Audio mono = audio_of(RATE, 1, stereo.frames);
  for (size_t n = 0; n < mono.frames; ++n) {
    mono.samples[n] = stereo.samples[2 * n];
  }
  const PlanishMeasurement a = measure(&stereo);
  const PlanishMeasurement b = measure(&mono);
  assert_int_equal(b.channels, 1);
  assert_true(a.integrated == b.integrated);
  assert_true(a.range == b.range);
  assert_true(fabs(a.true_peak - b.true_peak) < 1e-5);
  assert_true(a.rms == b.rms);
  assert_true(b.correlation == a.correlation);
  assert_true(b.mono_loss == 0.0);
  free(stereo.samples);
  free(mono.samples);
}

static void stereo_figures(void **state)
{
  (void)state;
  Audio audio = tone(5.0, -12.0, 1.0, -1.0);
  PlanishMeasurement m = measure(&audio);
  near_to("opposite: correlation", m.correlation, -1.0, 1e-12);
  assert_true(m.mono_loss == HUGE_VAL);
  assert_true(m.mid_rms == -HUGE_VAL);
  near_to("opposite: RMS of side", m.side_rms, -15.0103, 0.02);
  free(audio.samples);

  /* One channel alone: half the power in both; folded, half the amplitude in both. */
  audio = tone(5.0, -12.0, 0.0, 1.0);
  m = measure(&audio);
  assert_true(isnan(m.correlation));
  near_to("right alone: loss in mono", m.mono_loss, 10.0 * log10(2.0), 1e-6);
  near_to("right alone: mid over side", m.mid_rms - m.side_rms, 0.0, 1e-9);
  near_to("right alone: integrated", m.integrated, -12.0 - 3.0103, 0.02);
  assert_int_equal(m.true_peak_channel, 1);
  assert_int_equal(m.sample_peak_channel, 1);
  free(audio.samples);
}

/* A minute that vanishes in mono and 20 s that do not: a quarter of the power is left. A fold-down
 * that is gated by itself leaves the minute out, and reads 0. */
static void what_vanishes_in_mono_counts(void **state)
{
  (void)state;
  Audio audio = tone(80.0, -20.0, 1.0, 1.0);
  for (size_t n = 0; n < (size_t)(60.0 * RATE); ++n) {
    audio.samples[2 * n + 1] = -audio.samples[2 * n];
  }
  const PlanishMeasurement m = measure(&audio);
  near_to("three quarters opposite: loss in mono", m.mono_loss, 10.0 * log10(4.0), 0.03);
  near_to("mono", m.mono_integrated, m.integrated - 10.0 * log10(4.0), 0.03);
  free(audio.samples);
}

static void offset_of_each_channel(void **state)
{
  (void)state;
  Audio audio = tone(5.0, -40.0, 1.0, 1.0);
  for (size_t n = 0; n < audio.frames; ++n) {
    audio.samples[2 * n] += 0.25F;
    audio.samples[2 * n + 1] -= 0.0625F;
  }
  const PlanishMeasurement m = measure(&audio);
  near_to("offset, left", m.dc_offset[0], 0.25, 1e-4);
  near_to("offset, right", m.dc_offset[1], -0.0625, 1e-4);
  free(audio.samples);
}

static void places_of_the_largest(void **state)
{
  (void)state;
  Audio audio = tone(5.0, -40.0, 1.0, 1.0);
  const size_t at = 123456;
  audio.samples[2 * at] = 0.9F;
  audio.samples[2 * at + 2] = 0.9F;
  const PlanishMeasurement m = measure(&audio);
  assert_int_equal(m.sample_peak_at, at);
  near_to("place of the true peak", m.true_peak_at, (double)at + 0.5, 0.01);
  assert_int_equal(m.true_peak_channel, 0);
  assert_true(m.momentary_max_end > at && m.momentary_max_end <= at + (size_t)RATE * 2 / 5 + 480);
  assert_true(m.shortterm_max_end > at && m.shortterm_max_end <= at + (size_t)3 * RATE + 480);
  free(audio.samples);
}

static void clipping_is_found(void **state)
{
  (void)state;
  /* 10 s of 50 Hz cut at half its peak: 500 flat tops and 500 bottoms a channel. */
  static const double scales[] = {1.0, 0.25, 32767.0 / 32768.0};
  for (size_t s = 0; s < 3; ++s) {
    Audio audio = audio_of(RATE, 2, 480000);
    for (size_t n = 0; n < audio.frames; ++n) {
      const double x = 2.0 * sin(2.0 * PLANISH_PI * (double)n / 960.0 + 0.001);
      audio.samples[2 * n] = (float)(scales[s] * planish_clamp(x, -1.0, 1.0));
      audio.samples[2 * n + 1] = (float)(0.3 * sin(2.0 * PLANISH_PI * (double)n / 37.3));
    }
    assert_int_equal(measure(&audio).clipped_runs, 1000);
    free(audio.samples);
  }
  /* Two equal samples are no run; nor are three below the extreme; nor is silence. */
  Audio audio = audio_of(RATE, 1, 1000);
  audio.samples[10] = audio.samples[11] = 1.0F;
  audio.samples[20] = audio.samples[21] = audio.samples[22] = 0.5F;
  assert_int_equal(measure(&audio).clipped_runs, 0);
  audio.samples[12] = 1.0F;
  assert_int_equal(measure(&audio).clipped_runs, 1);
  /* A higher value later takes runs under full scale their standing, not those over it. */
  audio.samples[30] = 1.5F;
  assert_int_equal(measure(&audio).clipped_runs, 1);
  free(audio.samples);
}

static void density_is_the_smallest_of_any_window(void **state)
{
  (void)state;
  /* A steady sine with a burst of 0.1 s, 10 dB up, every 2.5 s: a window holds one or two. With
   * two the loudness is highest, and the peak the same. */
  Audio audio = tone(15.0, -20.0, 1.0, 1.0);
  for (size_t n = 0; n < audio.frames; ++n) {
    if (n % 120000 < 4800) {
      audio.samples[2 * n] *= (float)sqrt(10.0);
      audio.samples[2 * n + 1] *= (float)sqrt(10.0);
    }
  }
  PlanishMeasurement m = measure(&audio);
  const double loudness = -20.0 + 10.0 * log10((2.8 + 0.2 * 10.0) / 3.0);
  near_to("smallest PSR with bursts", m.psr_min, m.true_peak - loudness, 0.02);
  free(audio.samples);

  /* Once the bursts stop the sine alone is left; at the lowest rate the peaks come seconds late. */
  audio = tone(15.0, -20.0, 1.0, 1.0);
  for (size_t n = 0; n < 4800; ++n) {
    audio.samples[2 * (n + 48000)] *= 2.0F;
  }
  m = measure(&audio);
  near_to("smallest PSR after a burst", m.psr_min, 0.0, 0.01);
  free(audio.samples);
}

static void silence_and_nothing_have_no_values(void **state)
{
  (void)state;
  for (size_t frames = 0; frames <= 480000; frames += 240000) {
    Audio audio = audio_of(RATE, 2, frames);
    const PlanishMeasurement m = measure(&audio);
    assert_true(m.integrated == -HUGE_VAL);
    assert_true(m.momentary_max == -HUGE_VAL);
    assert_true(m.shortterm_max == -HUGE_VAL);
    assert_true(m.true_peak == -HUGE_VAL);
    assert_true(m.sample_peak == -HUGE_VAL);
    assert_true(m.rms == -HUGE_VAL);
    assert_true(isnan(m.range));
    assert_true(isnan(m.plr));
    assert_true(isnan(m.psr_min));
    assert_true(isnan(m.correlation));
    assert_true(isnan(m.mono_loss));
    assert_int_equal(isnan(m.dc_offset[0]) != 0, frames == 0);
    assert_int_equal(m.clipped_runs, 0);
    free(audio.samples);
  }
}

static void what_is_not_finite_counts_as_nothing(void **state)
{
  (void)state;
  Audio audio = tone(4.0, -20.0, 1.0, 1.0);
  Audio clean = tone(4.0, -20.0, 1.0, 1.0);
  static const float values[] = {NAN, INFINITY, -INFINITY};
  for (size_t i = 0; i < 3; ++i) {
    audio.samples[50001 + i] = values[i];
    clean.samples[50001 + i] = 0.0F;
  }
  const PlanishMeasurement a = measure(&audio);
  const PlanishMeasurement b = measure(&clean);
  assert_memory_equal(&a, &b, sizeof a);
  audio.samples[0] = 3e38F;
  assert_true(isfinite(measure(&audio).true_peak));
  free(audio.samples);
  free(clean.samples);
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  static const double rates[] = {8000, 11025, 48000};
  for (size_t r = 0; r < 3; ++r) {
    Audio audio = audio_of(rates[r], 2, 250000);
    uint32_t seed = 3;
    for (size_t n = 0; n < 2 * audio.frames; ++n) {
      audio.samples[n] = (float)(0.7 * noise(&seed));
    }
    const PlanishMeasurement whole = measure_in(&audio, audio.frames);
    assert_true(isfinite(whole.psr_min));
    static const size_t blocks[] = {1, 63, 8192};
    for (size_t i = 0; i < 3; ++i) {
      const PlanishMeasurement m = measure_in(&audio, blocks[i]);
      assert_memory_equal(&m, &whole, sizeof m);
    }
    free(audio.samples);
  }
}

static void bad_arguments_are_refused(void **state)
{
  (void)state;
  assert_null(planish_measure_new(7999.0, 2));
  assert_null(planish_measure_new(384001.0, 2));
  assert_null(planish_measure_new((double)NAN, 2));
  assert_null(planish_measure_new(48000.0, 0));
  assert_null(planish_measure_new(48000.0, 3));
  planish_measure_free(NULL);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_stereo_tone),
      cmocka_unit_test(mono_counts_as_both_channels),
      cmocka_unit_test(stereo_figures),
      cmocka_unit_test(what_vanishes_in_mono_counts),
      cmocka_unit_test(offset_of_each_channel),
      cmocka_unit_test(places_of_the_largest),
      cmocka_unit_test(clipping_is_found),
      cmocka_unit_test(density_is_the_smallest_of_any_window),
      cmocka_unit_test(silence_and_nothing_have_no_values),
      cmocka_unit_test(what_is_not_finite_counts_as_nothing),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(bad_arguments_are_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
