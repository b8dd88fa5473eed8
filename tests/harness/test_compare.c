/* Comparisons of files whose difference is known. */
#include "harness/compare/compare.h"
#include "harness/compare/compare_json.h"
#include "tests/harness/program_fixture.h"

enum { FRAMES = 6 * RATE, FLOATS = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static PlanishComparison compare_as(const char *a, const char *b, bool plain)
{
  const PlanishCompareSetup setup = {.path = {a, b}, .plain = plain};
  PlanishComparison result;
  PlanishError error = {0};
  if (!planish_compare(&setup, &result, &error)) {
    fail_msg("%s", error.text);
  }
  return result;
}

static PlanishComparison compare(const char *a, const char *b)
{
  return compare_as(a, b, false);
}

static void near_to(const char *what, double is, double expected, double tolerance)
{
  print_message("    %-40s %14.7f (%.7f +-%g)\n", what, is, expected, tolerance);
  assert_true(fabs(is - expected) <= tolerance);
}

/* The music `late` frames later, times a factor a channel, with noise of a level added. */
static const char *write_changed(const char *file, int late, double left, double right,
                                 double noise_rms)
{
  float *samples = calloc(2 * FRAMES, sizeof *samples);
  uint32_t seed = 77;
  for (int n = 0; n < FRAMES; ++n) {
    for (int c = 0; c < 2; ++c) {
      seed = seed * 1664525U + 1013904223U;
      const double noise = ((double)(seed >> 8) / 8388608.0 - 1.0) * sqrt(3.0) * noise_rms;
      const double x = n >= late && n - late < FRAMES ? (double)music[2 * (n - late) + c] : 0.0;
      samples[2 * n + c] = (float)((c == 0 ? left : right) * x + noise);
    }
  }
  const char *path = write_audio(file, FLOATS, RATE, 2, samples, FRAMES);
  free(samples);
  return path;
}

static double rms_of_music(void)
{
  double sum = 0.0;
  for (int n = 0; n < 2 * FRAMES; ++n) {
    sum += (double)music[n] * (double)music[n];
  }
  return sqrt(sum / (2.0 * FRAMES));
}

static void the_same_samples(void **state)
{
  (void)state;
  const char *a = write_changed("a.wav", 0, 1.0, 1.0, 0.0);
  const char *b = write_changed("b.wav", 0, 1.0, 1.0, 0.0);
  const PlanishComparison result = compare(a, b);
  assert_true(result.same_samples);
  assert_int_equal(result.differing, 0);
  assert_true(result.null_depth == -HUGE_VAL && result.gain == 0.0);
  assert_true(planish_compare_within(&result, -400.0));
  const char *one = write_audio("one.wav", FLOATS, RATE, 2, music, 1);
  assert_true(compare(one, one).same_samples);
  assert_true(compare(a, one).overlap == 1);
}

static void later_and_quieter(void **state)
{
  (void)state;
  const char *a = write_changed("a.wav", 0, 1.0, 1.0, 0.0);
  const char *b = write_changed("b.wav", 123, 0.5, 0.5, 0.0);
  const PlanishComparison result = compare(a, b);
  assert_false(result.same_samples);
  /* This music is cut off at both ends: frames without a partner move it a little. */
  near_to("delay", result.alignment.delay, 123.0, 2e-6);
  near_to("gain", result.gain, 20.0 * log10(2.0), 1e-5);
  near_to("gain by loudness", result.loudness_gain, 20.0 * log10(2.0), 0.01);
  near_to("frames in common", (double)result.overlap, FRAMES - 123.0, 0.0);
  print_message("    null %.1f dB\n", result.null_depth);
  assert_true(result.null_depth < -140.0);
  const PlanishComparison back = compare(b, a);
  near_to("the other way round", back.alignment.delay, -123.0, 2e-6);
  near_to("its first frame in common", (double)back.from, 123.0, 0.0);
  assert_true(back.null_depth < -140.0);
  const PlanishComparison plain = compare_as(a, write_changed("c.wav", 0, 0.5, 0.5, 0.0), true);
  near_to("as they are, at half", plain.null_depth, -20.0 * log10(2.0), 1e-6);
}

static void the_same_samples_later(void **state)
{
  (void)state;
  const char *a = write_changed("a.wav", 0, 1.0, 1.0, 0.0);
  const PlanishComparison result = compare(a, write_changed("b.wav", 500, 1.0, 1.0, 0.0));
  assert_int_equal(result.differing, 0);
  assert_false(result.same_samples);
  near_to("gain", result.gain, 0.0, 1e-9);
}

static void noise_is_what_is_left(void **state)
{
  (void)state;
  static const double levels[] = {-100.0, -60.0, -20.0};
  const char *a = write_changed("a.wav", 0, 1.0, 1.0, 0.0);
  for (size_t n = 0; n < 3; ++n) {
    const double rms = rms_of_music() * pow(10.0, levels[n] / 20.0);
    const PlanishComparison result = compare(a, write_changed("b.wav", 0, 1.0, 1.0, rms));
    near_to("null with noise", result.null_depth, levels[n], 0.05);
    assert_true(result.differing > FRAMES - 100);
    assert_true(planish_compare_within(&result, levels[n] + 0.2));
    assert_false(planish_compare_within(&result, levels[n] - 0.2));
  }
}

static void one_channel_turned(void **state)
{
  (void)state;
  const char *a = write_changed("a.wav", 0, 1.0, 1.0, 0.0);
  const PlanishComparison result = compare(a, write_changed("b.wav", 10, 0.7, -0.7, 0.0));
  assert_true(!result.alignment.turned[0] && result.alignment.turned[1]);
  assert_true(result.null_depth < -120.0);
  /* Lost in mono: no regression check lets it pass. */
  assert_false(planish_compare_within(&result, -20.0));
}

/* Sines of 100, 1000 and 8000 Hz, faded; the last at a gain of its own. */
static const char *write_sines(const char *file, int rate, double late, double last)
{
  static const double hz[] = {100.0, 1000.0, 8000.0};
  const int frames = 5 * rate;
  float *samples = calloc(2 * (size_t)frames, sizeof *samples);
  for (int n = 0; n < frames; ++n) {
    const double t = (double)n / rate - late;
    const double edge = fmin(fmax(fmin(t, 4.9 - t), 0.0), 1.0);
    double x = 0.0;
    for (int k = 0; k < 3; ++k) {
      x += (k == 2 ? last : 1.0) * 0.1 * sin(2.0 * M_PI * hz[k] * t);
    }
    samples[2 * n] = samples[2 * n + 1] = (float)(x * edge * edge * (3.0 - 2.0 * edge));
  }
  const char *path = write_audio(file, FLOATS, rate, 2, samples, (size_t)frames);
  free(samples);
  return path;
}

static double change_at(const PlanishComparison *result, double nominal)
{
  for (size_t n = 0; n < result->octaves[0].count; ++n) {
    if (result->octaves[0].band[n].nominal == nominal) {
      return planish_compare_band_change(result, n);
    }
  }
  return (double)NAN;
}

static void bands_that_differ(void **state)
{
  (void)state;
  const char *a = write_sines("a.wav", RATE, 0.0, 1.0);
  const PlanishComparison result = compare(a, write_sines("b.wav", RATE, 0.0, pow(10.0, 0.15)));
  near_to("8 kHz against 100 Hz", change_at(&result, 8000.0) - change_at(&result, 100.0), 3.0,
          0.001);
  near_to("1 kHz against 100 Hz", change_at(&result, 1000.0) - change_at(&result, 100.0), 0.0,
          0.001);
  near_to("1 kHz, equally loud", change_at(&result, 1000.0), result.loudness_gain, 0.001);
  assert_true(result.loudness_gain < -1.0);
}

static void other_rates_and_parts_of_a_frame(void **state)
{
  (void)state;
  const char *a = write_sines("a.wav", 48000, 0.0, 1.0);
  PlanishComparison result = compare(a, write_sines("b.wav", 44100, 0.0, 1.0));
  assert_true(result.rate == 48000.0 && result.file_rate[1] == 44100.0);
  assert_false(result.same_samples);
  near_to("delay at another rate", result.alignment.delay, 0.0, 1e-3);
  print_message("    null at another rate %.1f dB\n", result.null_depth);
  assert_true(result.null_depth < -90.0);
  result = compare(write_sines("b.wav", 44100, 0.0, 1.0), a);
  assert_true(result.rate == 48000.0 && result.null_depth < -90.0);
  result = compare(a, write_sines("c.wav", 48000, 10.3 / 48000.0, 1.0));
  near_to("parts of a frame", result.alignment.delay, 10.3, 1e-4);
  print_message("    null between frames %.1f dB\n", result.null_depth);
  assert_true(result.null_depth < -90.0);
}

static void nothing_in_common(void **state)
{
  (void)state;
  const char *a = write_changed("a.wav", 0, 1.0, 1.0, 0.0);
  PlanishComparison result = compare(a, write_changed("b.wav", 0, 0.0, 0.0, 0.1));
  assert_false(result.related);
  assert_true(result.null_depth > -0.2 && result.null_depth <= 0.0);
  result = compare(a, write_changed("b.wav", 0, 0.0, 0.0, 0.0));
  assert_true(isnan(result.loudness_gain) && result.null_depth == 0.0);
  const char *silence = write_changed("c.wav", 0, 0.0, 0.0, 0.0);
  assert_true(compare(silence, write_changed("d.wav", 0, 0.0, 0.0, 0.0)).same_samples);
}

/* Silence against music is all difference, whichever way round. */
static void silence_is_no_match(void **state)
{
  (void)state;
  const char *silence = write_changed("a.wav", 0, 0.0, 0.0, 0.0);
  const char *b = write_changed("b.wav", 0, 1.0, 1.0, 0.0);
  const PlanishComparison result = compare(silence, b);
  assert_true(result.null_depth == 0.0 && result.gain == 0.0);
  assert_false(planish_compare_within(&result, -1.0));
  assert_false(planish_compare_within(&(PlanishComparison){0}, -1.0));
}

/* `frames` of the music, then silence up to `length`. */
static const char *write_part(const char *file, size_t frames, size_t length)
{
  float *samples = calloc(2 * length, sizeof *samples);
  memcpy(samples, music, 2 * frames * sizeof *samples);
  const char *path = write_audio(file, FLOATS, RATE, 2, samples, length);
  free(samples);
  return path;
}

/* Cut off in the middle of sound, which moves the delay that is found off its whole number; what
 * the longer has beyond the end counts, unless it is silence. */
static void one_ends_early(void **state)
{
  (void)state;
  const char *a = write_part("a.wav", FRAMES, FRAMES);
  const char *half = write_part("half.wav", FRAMES / 2, FRAMES / 2);
  double sum[2] = {0.0, 0.0};
  for (size_t n = 0; n < (size_t)2 * FRAMES; ++n) {
    sum[n < FRAMES ? 0 : 1] += (double)music[n] * (double)music[n];
  }
  const double expected = 10.0 * log10(sum[1] / (sum[0] + sum[1]));
  PlanishComparison result = compare(a, half);
  near_to("delay of the first half", result.alignment.delay, 0.0, 0.0);
  near_to("frames in common", (double)result.overlap, FRAMES / 2, 0.0);
  assert_int_equal(result.differing, 0);
  assert_true(result.null_depth == -HUGE_VAL);
  near_to("A beyond the end of B", result.beyond[0], expected, 1e-6);
  assert_true(result.beyond[1] == -HUGE_VAL);
  assert_false(planish_compare_within(&result, -20.0));
  result = compare(half, a);
  near_to("B beyond the end of A", result.beyond[1], expected, 1e-6);
  assert_false(planish_compare_within(&result, -20.0));
  result = compare_as(a, half, true);
  near_to("as they are", result.beyond[0], expected, 1e-6);
  result = compare(write_part("frame.wav", 1, 1), a);
  assert_false(planish_compare_within(&result, -20.0));
  result = compare(a, write_part("longer.wav", FRAMES, FRAMES + 30000));
  assert_true(result.beyond[1] == -HUGE_VAL && planish_compare_within(&result, -400.0));
  /* What a delay has moved out of the file is no difference, what is missing besides is. */
  const char *late = write_changed("late.wav", 500, 1.0, 1.0, 0.0);
  assert_true(planish_compare_within((result = compare(a, late), &result), -120.0));
  assert_true(planish_compare_within((result = compare(late, a), &result), -120.0));
  const char *short_by_more = write_part("short.wav", FRAMES - 1000, FRAMES - 1000);
  assert_false(planish_compare_within((result = compare(late, short_by_more), &result), -120.0));
  /* As long in time at another rate: rounding may leave a frame. */
  result = compare(write_sines("c.wav", 44100, 0.0, 1.0), write_sines("d.wav", 48000, 0.0, 1.0));
  assert_true(result.beyond[0] < -90.0 && result.beyond[1] < -90.0);
}

/* What is missing at the head counts as what is missing at the end does. */
static void one_begins_late(void **state)
{
  (void)state;
  const size_t lost = 5000;
  const char *a = write_part("a.wav", FRAMES, FRAMES);
  const char *rest = write_audio("rest.wav", FLOATS, RATE, 2, music + 2 * lost, FRAMES - lost);
  double sum[2] = {0.0, 0.0};
  for (size_t n = 0; n < (size_t)2 * FRAMES; ++n) {
    sum[n < 2 * lost ? 0 : 1] += (double)music[n] * (double)music[n];
  }
  const double expected = 10.0 * log10(sum[0] / (sum[0] + sum[1]));
  PlanishComparison result = compare(a, rest);
  near_to("delay of the rest", result.alignment.delay, -(double)lost, 0.0);
  near_to("A ahead of the start of B", result.ahead[0], expected, 1e-6);
  assert_true(result.ahead[1] == -HUGE_VAL && result.null_depth == -HUGE_VAL);
  assert_false(planish_compare_within(&result, expected - 0.1));
  assert_true(planish_compare_within(&result, expected + 0.1));
  result = compare(rest, a);
  near_to("B ahead of the start of A", result.ahead[1], expected, 1e-6);
  assert_true(result.ahead[0] == -HUGE_VAL);
  assert_false(planish_compare_within(&result, expected - 0.1));
}

static void a_regression_check(void **state)
{
  (void)state;
  empty_folder(NULL);
  write_changed("a.wav", 0, 1.0, 1.0, 0.0);
  write_changed("b.wav", 0, 1.0, 1.0, 1e-3 * rms_of_music());
  const char *const a = name("a.wav");
  const char *const b = name("b.wav");
  Outcome outcome = RUN("compare", "--tolerance=-100", a, a);
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "the same samples"));
  outcome = RUN("compare", "--tolerance=-50", a, b);
  expect(&outcome, 0, "");
  assert_string_equal(outcome.error, "");
  outcome = RUN("compare", "--tolerance=-70", a, b);
  expect(&outcome, 1, "over tolerance: the difference is -60.0 dB re the louder, -70.0 dB allowed");
  assert_int_equal(lines_of(outcome.error), 1);
  outcome = RUN("compare", "--json", "--tolerance=-70", a, b);
  expect(&outcome, 1, "over tolerance");
  assert_non_null(strstr(outcome.out, "\"within_tolerance\": false"));
  assert_non_null(strstr(outcome.out, "\"same_samples\": false"));
  assert_int_equal(outcome.out[0], '{');
  write_part("half.wav", FRAMES / 2, FRAMES / 2);
  outcome = RUN("compare", "--tolerance=-100", a, name("half.wav"));
  expect(&outcome, 1, "over tolerance: A goes on where B has ended, -3.");
  write_part("nothing.wav", 0, FRAMES / 2);
  outcome = RUN("compare", a, name("nothing.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "0:03.000, silent\n"));
  assert_null(strstr(outcome.out, "nan"));
  assert_null(strstr(outcome.out, "inf"));
  write_audio("mono.wav", WAV24, RATE, 1, music, LENGTH);
  outcome = RUN("compare", a, name("mono.wav"));
  assert_non_null(strstr(outcome.out, "mono.wav: mono taken as dual mono, 48000 Hz"));
  write_part("short.wav", 100, 100);
  outcome = RUN("compare", "--plain", a, name("short.wav"));
  assert_non_null(strstr(outcome.out, "the same samples where both have any"));
  outcome = RUN("compare", a, name("short.wav"));
  assert_null(strstr(outcome.out, "nothing alike"));
}

static void bad_input_is_refused(void **state)
{
  (void)state;
  start_files(NULL);
  const char *const mix = name("mix.wav");
  float wide[3 * 8] = {0.0F};
  wide[4] = NAN;
  write_audio("wide.wav", WAV24, RATE, 3, wide, 8);
  write_audio("nan.wav", FLOATS, RATE, 2, wide, 8);
  write_audio("none.wav", WAV24, RATE, 2, wide, 0);
  write_audio("slow.wav", WAV24, 4000, 2, wide, 1);
  write_text("words.wav", "words\n");
  write_text("empty.wav", "");
  mkfifo(in_folder("pipe.wav"), 0600);
  write_audio("cut.wav", WAV24, RATE, 2, music, RATE);
  assert_int_equal(truncate(in_folder("cut.wav"), 100000), 0);
  const struct {
    const char *arguments[5];
    int code;
    const char *says;
  } cases[] = {
      {{"compare", mix}, 2, "give A B"},
      {{"compare", mix, mix, mix}, 2, "give A B"},
      {{"compare", "--tolerance=loud", mix, mix}, 2, "no number"},
      {{"compare", "--tolerance=3", mix, mix}, 2, "give -400 to 0 dB"},
      {{"compare", "--plane", mix, mix}, 2, "unknown option"},
      {{"compare", mix, name("absent.wav")}, 4, "no such file"},
      {{"compare", name("absent.wav"), mix}, 4, "no such file"},
      {{"compare", mix, files_folder}, 3, "a folder"},
      {{"compare", name("pipe.wav"), mix}, 3, "a pipe"},
      {{"compare", mix, name("empty.wav")}, 3, "an empty file"},
      {{"compare", mix, name("words.wav")}, 3, "no audio"},
      {{"compare", mix, name("cut.wav")}, 0, "cut short, its header promises more"},
      {{"compare", mix, name("wide.wav")}, 3, "3 channels"},
      {{"compare", mix, name("none.wav")}, 3, "no audio in it"},
      {{"compare", mix, name("slow.wav")}, 3, "4000 Hz: "},
      {{"compare", mix, name("nan.wav")}, 3, "a sample that is no number (NaN) at 0:00.000"},
  };
  const int files = count_files();
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const char *arguments[7] = {"planish"};
    for (int a = 0; a < 5 && cases[n].arguments[a] != NULL; ++a) {
      arguments[a + 1] = cases[n].arguments[a];
    }
    const Outcome outcome = finish(launch(arguments));
    expect(&outcome, cases[n].code, cases[n].says);
    assert_int_equal(count_files(), files);
  }
  Outcome outcome = RUN("compare", "--silence-bad", mix, name("nan.wav"));
  expect(&outcome, 0, "1 sample that is no number was taken as silence");
  outcome = RUN("compare", "--help");
  assert_non_null(strstr(outcome.out, "--tolerance=-100 last-year.wav"));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_same_samples),
      cmocka_unit_test(later_and_quieter),
      cmocka_unit_test(the_same_samples_later),
      cmocka_unit_test(noise_is_what_is_left),
      cmocka_unit_test(one_channel_turned),
      cmocka_unit_test(bands_that_differ),
      cmocka_unit_test(other_rates_and_parts_of_a_frame),
      cmocka_unit_test(nothing_in_common),
      cmocka_unit_test(silence_is_no_match),
      cmocka_unit_test(one_ends_early),
      cmocka_unit_test(one_begins_late),
      cmocka_unit_test(a_regression_check),
      cmocka_unit_test(bad_input_is_refused),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
