/* The demo as its script runs it: the mix, mastered by presets-demo/demo.yaml. */
#include "tests/demo/judge.h"
#include "tests/demo/run_program.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

enum { MIX_FRAMES = 2880000 };

static char text[65536];

static void the_demo_lands(void **state)
{
  (void)state;
  const char *const mix[] = {getenv("PLANISH_DEMO_MIX"), in_folder("mix.wav"), NULL};
  assert_int_equal(run_program(mix, text, sizeof text), 0);
  const char *const arguments[] = {
      getenv("PLANISH_PROGRAM"), "render", "--json", "presets-demo/demo.yaml", in_folder("mix.wav"),
      in_folder("master.wav"),   NULL};
  assert_int_equal(run_program(arguments, text, sizeof text), 0);
  const double drive = number_behind(text, (const char *const[]){NULL}, "extra_drive_db");
  size_t frames = 0;
  SF_INFO info;
  float *samples = read_audio(in_folder("master.wav"), &frames, &info);
  const double loudness = judged_loudness(samples, frames, info.samplerate);
  const double peak = judged_true_peak(samples, frames);
  print_message("demo master: %.3f LUFS (by libebur128), %.3f dBTP, extra drive %.2f dB, "
                "reduction at most %.2f and %.2f dB, clipper %.2f dB\n",
                loudness, peak, drive, largest_report(text, "first-limiter", "reduction"),
                largest_report(text, "second-limiter", "reduction"),
                largest_report(text, "clip", "reduction"));
  assert_true(fabs(loudness + 8.0) <= 0.05);
  assert_true(peak <= -1.0 + 0.02);
  assert_true(drive < 1.0);
  assert_true(number_behind(text, (const char *const[]){NULL}, "audible_share_of_loudest_30_s") <
              0.1);
  assert_int_equal(frames, MIX_FRAMES);
  assert_int_equal(info.format, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
  free(samples);
}

static float *part(const char *name, const char *from, const char *to, size_t *frames)
{
  const char *const arguments[] = {
      getenv("PLANISH_PROGRAM"), "render",        "--float", from, to, "presets-demo/demo.yaml",
      in_folder("mix.wav"),      in_folder(name), NULL};
  SF_INFO info;
  assert_int_equal(run_program(arguments, text, sizeof text), 0);
  return read_audio(in_folder(name), frames, &info);
}

/* The stages themselves: landing on the same bytes is proved with the harness's own tests. */
static void the_demo_is_the_same_samples_on_every_run_and_in_every_excerpt(void **state)
{
  (void)state;
  size_t frames[3] = {0};
  float *whole = part("one.wav", "--from=0", "--to=20", &frames[0]);
  float *again = part("two.wav", "--from=0", "--to=20", &frames[1]);
  float *excerpt = part("three.wav", "--from=17.3", "--to=20", &frames[2]);
  assert_int_equal(frames[0], 20 * 48000);
  assert_int_equal(frames[1], frames[0]);
  assert_int_equal(frames[2], 129600);
  assert_memory_equal(whole, again, 2 * frames[0] * sizeof *whole);
  assert_memory_equal(whole + 2 * (frames[0] - frames[2]), excerpt, 2 * frames[2] * sizeof *whole);
  free(whole);
  free(again);
  free(excerpt);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_demo_lands),
      cmocka_unit_test(the_demo_is_the_same_samples_on_every_run_and_in_every_excerpt),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
