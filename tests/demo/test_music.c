/* The demo's sheet on real music, at several loudnesses: lands, or says why not. The finished file
 * is judged by other instruments than our own: loudness by libebur128, true peak by 32 times
 * reconstruction of the whole file (tests/unit/reconstruct.h). The figures are printed. Needs the
 * music beside the project (DEVELOPERS.md); skipped without. */
#include "tests/demo/judge.h"
#include "tests/demo/run_program.h"
#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

static char text[65536];

static bool find_music(const char *name, char *path, size_t size)
{
  const char *shared = getenv("PLANISH_SHARED");
  snprintf(path, size, "%s/music/%s.flac", shared == NULL ? "../shared" : shared, name);
  return access(path, R_OK) == 0;
}

static void master(const char *name, const char *loudness)
{
  char path[1024];
  if (!find_music(name, path, sizeof path)) {
    print_message("%s is absent: skipped\n", path);
    skip();
  }
  const char *const arguments[] = {getenv("PLANISH_PROGRAM"),
                                   "render",
                                   "--json",
                                   "--loudness",
                                   loudness,
                                   "presets-demo/demo.yaml",
                                   path,
                                   in_folder("master.wav"),
                                   NULL};
  const int code = run_program(arguments, text, sizeof text);
  const char *const anywhere[] = {NULL};
  size_t frames = 0;
  SF_INFO info;
  float *samples = read_audio(in_folder("master.wav"), &frames, &info);
  const double reached = judged_loudness(samples, frames, info.samplerate);
  const double peak = judged_true_peak(samples, frames);
  const double renders = number_behind(text, anywhere, "renders");
  free(samples);
  const double drive = number_behind(text, anywhere, "extra_drive_db");
  print_message("%-16s %4s LUFS: %7.3f LUFS %7.3f dBTP, %.0f renders, extra drive %5.2f dB, "
                "reduction at most %5.2f %5.2f, clipper %5.2f dB, exit %d\n",
                name, loudness, reached, peak, renders, drive,
                largest_report(text, "first-limiter", "reduction"),
                largest_report(text, "second-limiter", "reduction"),
                largest_report(text, "clip", "reduction"), code);
  assert_true(code == 0 || code == 1);
  const bool landed = fabs(reached - atof(loudness)) <= 0.05 && peak <= -1.0 + 0.02;
  assert_true(landed == (code == 0));
  assert_true(renders <= 5.0);
}

static void master_at_each(const char *name)
{
  static const char *const targets[] = {"-14", "-11", "-8"};
  for (size_t n = 0; n < sizeof targets / sizeof *targets; ++n) {
    master(name, targets[n]);
  }
}

static void dense_guitars(void **state)
{
  (void)state;
  master_at_each("guitars-dense");
}

static void dynamic_guitars(void **state)
{
  (void)state;
  master_at_each("guitars-dynamic");
}

static void a_lopsided_mix(void **state)
{
  (void)state;
  master("lopsided", "-14");
}

static void a_quiet_mix(void **state)
{
  (void)state;
  master("quiet", "-20");
  master("quiet", "-16");
}

/* One test a process, named by the argument, so that they can run side by side; all without. */
int main(int argc, char **argv)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(dense_guitars),
      cmocka_unit_test(dynamic_guitars),
      cmocka_unit_test(a_lopsided_mix),
      cmocka_unit_test(a_quiet_mix),
  };
  if (argc > 1) {
    cmocka_set_test_filter(argv[1]);
  }
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
