/* What stands around the mix: silence ahead, fades, a tail for what rings. */
#include "harness/render/fades.h"

#include "harness/host/host.h"
#include "tests/harness/render_fixture.h"

enum { RATE = 48000, LENGTH = 50001 };

static PlanishHost *host;
static float *music;

static int open_all(void **state)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  if (host == NULL || make_folder(state) != 0) {
    return -1;
  }
  music = make_music(LENGTH);
  write_audio("mix.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 2, music, LENGTH);
  return 0;
}

static int close_all(void **state)
{
  planish_host_free(host);
  free(music);
  return remove_folder(state);
}

/* `to` 0: the whole. */
static Result render(const char *words, uint64_t from, uint64_t to, PlanishError *error)
{
  char text[600];
  snprintf(text, sizeof text, "planish: 1\nstages: [{stage: test-delay, name: a, taps: 333}]\n%s",
           words);
  Run run = {.from = from, .to = to};
  return render_sheet(host, text, "mix.wav", &run, error);
}

static void silence_and_tail_surround_the_mix(void **state)
{
  (void)state;
  PlanishError error = {0};
  Result result = render("head_silence: 0.25\ntail: 1000 frames\n", 0, 0, &error);
  assert_int_equal(result.frames, 12000 + LENGTH + 1000);
  for (size_t n = 0; n < 2 * 12000; ++n) {
    assert_true(result.samples[n] == 0.0f);
  }
  assert_memory_equal(result.samples + 2 * 12000, music, 2 * LENGTH * sizeof *music);
  for (size_t n = 2 * (12000 + LENGTH); n < 2 * result.frames; ++n) {
    assert_true(result.samples[n] == 0.0f);
  }
  free(result.samples);
}

/* Fades act ahead of the silence at the end, which no excerpt has that ends before. */
static void silence_comes_after_the_fade(void **state)
{
  (void)state;
  PlanishError error = {0};
  Result result =
      render("tail: 10 frames\ntail_silence: 100 frames\nfade_out: 20 frames\n", 0, 0, &error);
  assert_int_equal(result.frames, LENGTH + 110);
  assert_true(result.samples[2 * (LENGTH - 9)] != 0.0f);
  assert_true(fabsf(result.samples[2 * (LENGTH - 9)]) < fabsf(music[2 * (LENGTH - 9)]));
  for (size_t n = 2 * LENGTH; n < 2 * result.frames; ++n) {
    assert_true(result.samples[n] == 0.0f);
  }
  free(result.samples);
  result = render("tail_silence: 100 frames\n", 0, LENGTH - 1, &error);
  assert_int_equal(result.frames, LENGTH - 1);
  free(result.samples);
}

/* What a stage still gives once the mix has ended is in the tail: a delay whose latency is not told
 * would be, and so is the end of one that is. */
static void the_tail_holds_what_rings(void **state)
{
  (void)state;
  PlanishError error = {0};
  Result result =
      render_sheet(host,
                   "planish: 1\ntail: 500 frames\n"
                   "stages: [{stage: https://example.org/lv2/echo, name: a, taps: 200}]\n",
                   "mix.wav", NULL, &error);
  assert_non_null(result.samples);
  assert_int_equal(result.frames, LENGTH + 500);
  assert_memory_equal(result.samples + 2 * 200, music, 2 * LENGTH * sizeof *music);
  assert_true(result.samples[2 * (LENGTH + 200)] == 0.0f);
  free(result.samples);
}

/* The shapes in closed form. */
static double linear(double x)
{
  return x;
}

static double equal_power(double x)
{
  return sin(x * acos(-1.0) / 2.0);
}

static double s_shaped(double x)
{
  return 10.0 * pow(x, 3.0) - 15.0 * pow(x, 4.0) + 6.0 * pow(x, 5.0);
}

static void fades_have_their_shapes(void **state)
{
  (void)state;
  static const struct {
    const char *words;
    double (*in)(double x);
    double (*out)(double x);
  } cases[] = {
      {"fade_in: 0.1\nfade_out: 7000 frames\n", linear, linear},
      {"fade_in: {length: 0.1, shape: equal power}\nfade_out: {length: 7000 frames, shape: "
       "s-shaped}\n",
       equal_power, s_shaped},
      {"fade_in: {length: 4800 frames, shape: s-shaped}\nfade_out: {length: 7000 frames, shape: "
       "equal power}\n",
       s_shaped, equal_power},
  };
  for (size_t k = 0; k < sizeof cases / sizeof *cases; ++k) {
    char words[300];
    snprintf(words, sizeof words, "%shead_silence: 10 frames\ntail: 20 frames\n", cases[k].words);
    PlanishError error = {0};
    Result result = render(words, 0, 0, &error);
    assert_int_equal(result.frames, LENGTH + 30);
    double largest = 0.0;
    for (size_t n = 0; n < LENGTH; ++n) {
      /* The last frame of the tail is the one that is 0. */
      const double left = (double)(LENGTH + 20 - 1 - n);
      const double in = n < 4800 ? cases[k].in((double)n / 4800.0) : 1.0;
      const double out = left < 7000.0 ? cases[k].out(left / 7000.0) : 1.0;
      const double expected = in * out * (double)music[2 * n + 1];
      largest = fmax(largest, fabs((double)result.samples[2 * (n + 10) + 1] - expected));
      assert_true(in * out < 1.0 || result.samples[2 * (n + 10)] == music[2 * n]);
    }
    print_message("off by at most %.1e\n", largest);
    assert_true(largest < 4e-8);
    assert_true(result.samples[20] == 0.0f);
    free(result.samples);
  }
}

static void an_excerpt_is_what_stands_there_in_the_whole(void **state)
{
  (void)state;
  static const char words[] = "fade_in: {length: 0.5, shape: s-shaped}\nfade_out: 0.9\n"
                              "head_silence: 0.1\ntail: 0.05\n";
  static const uint64_t parts[][2] = {{0, 100}, {1, 30000}, {20000, LENGTH}, {0, LENGTH}};
  PlanishError error = {0};
  Result whole = render(words, 0, 0, &error);
  for (size_t n = 0; n < sizeof parts / sizeof *parts; ++n) {
    Result part = render(words, parts[n][0], parts[n][1], &error);
    const uint64_t head = parts[n][0] == 0 ? 4800 : 0;
    const uint64_t tail = parts[n][1] == LENGTH ? 2400 : 0;
    assert_int_equal(part.frames, head + parts[n][1] - parts[n][0] + tail);
    assert_memory_equal(part.samples, whole.samples + 2 * (4800 - head + parts[n][0]),
                        2 * part.frames * sizeof(float));
    free(part.samples);
  }
  free(whole.samples);
}

static void a_fade_longer_than_the_master_is_refused(void **state)
{
  (void)state;
  PlanishError error = {0};
  Result result = render("fade_out: 50002 frames\n", 0, 0, &error);
  assert_null(result.samples);
  assert_int_equal(error.outcome, PLANISH_BAD_USE);
  assert_non_null(strstr(error.text, "longer than the master: fade_out"));
  planish_error_clear(&error);
  result = render("fade_out: 50002 frames\ntail: 1 frame\n", 0, 0, &error);
  assert_int_equal(error.outcome, PLANISH_DONE);
  free(result.samples);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(silence_and_tail_surround_the_mix),
      cmocka_unit_test(silence_comes_after_the_fade),
      cmocka_unit_test(the_tail_holds_what_rings),
      cmocka_unit_test(fades_have_their_shapes),
      cmocka_unit_test(an_excerpt_is_what_stands_there_in_the_whole),
      cmocka_unit_test(a_fade_longer_than_the_master_is_refused),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
