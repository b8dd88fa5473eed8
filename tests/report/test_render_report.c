/* planish render --report: the page of a master, and what stands in its way. */
#include "tests/harness/program_fixture.h"

#include <stdbool.h>

static const char named_sheet[] =
    "planish: 1\n"
    "target: {loudness: -12, ceiling: -0.5, by: steel-drive.input_gain, ceiling_at: "
    "[steel-drive.ceiling]}\n"
    "stages:\n"
    "  - {stage: test-delay, name: velvet-delay, taps: 777}\n"
    "  - {stage: test-drive, name: steel-drive}\n";

static char *page;

static int start(void **state)
{
  start_files(state);
  write_text("named.yaml", named_sheet);
  return 0;
}

static int clear_up(void **state)
{
  free(page);
  page = NULL;
  remove(in_folder("rep/master.html"));
  rmdir(in_folder("rep"));
  return empty_folder(state);
}

static void read_page(void)
{
  struct stat info;
  assert_int_equal(stat(in_folder("rep/master.html"), &info), 0);
  page = calloc(1, (size_t)info.st_size + 1);
  FILE *file = fopen(in_folder("rep/master.html"), "rb");
  assert_int_equal(fread(page, 1, (size_t)info.st_size, file), (size_t)info.st_size);
  fclose(file);
}

static bool says(const char *text)
{
  return strstr(page, text) != NULL;
}

/* A page takes the place of an older one, and of nothing else. */
static void what_others_made_is_left_alone(void **state)
{
  (void)state;
  char report[600];
  char reference[600];
  snprintf(report, sizeof report, "--report=%s", name("rep"));
  snprintf(reference, sizeof reference, "--reference=%s", name("master.wav"));
  assert_int_equal(mkdir(in_folder("rep"), 0700), 0);
  write_text("rep/master.html", "precious\n");
  Outcome run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report);
  expect(&run, 2, "taken by something that is no report");
  read_page();
  assert_true(says("precious"));
  assert_int_equal(remove(in_folder("rep/master.html")), 0);
  assert_int_equal(mkfifo(in_folder("rep/master.html"), 0600), 0);
  run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report);
  expect(&run, 2, "taken by something that is no report");
  assert_int_equal(remove(in_folder("rep/master.html")), 0);
  for (int time = 0; time < 2; ++time) {
    run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report);
    expect(&run, 0, "");
  }
  run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report, reference);
  expect(&run, 2, "the master would be written over a reference");
}

static void a_master_gets_its_page(void **state)
{
  (void)state;
  char report[600];
  snprintf(report, sizeof report, "--report=%s", name("rep"));
  const Outcome run =
      RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report);
  expect(&run, 0, "");
  assert_non_null(strstr(run.out, "report    "));
  read_page();
  assert_true(says("<title>master.wav</title>"));
  assert_true(says("<strong>Landed</strong>"));
  static const char *const sections[] = {"verdict", "player", "bands",    "punch",   "account",
                                         "mono",    "edges",  "findings", "settings"};
  for (size_t n = 0; n < sizeof sections / sizeof *sections; ++n) {
    char id[64];
    snprintf(id, sizeof id, "<section id=\"%s\"", sections[n]);
    assert_true(says(id));
  }
  /* Mix, after the first stage, master: what comes out of the last stage is the master. */
  assert_true(says("name=\"version\" value=\"2\""));
  assert_false(says("name=\"version\" value=\"3\""));
  assert_true(says("velvet-delay"));
  assert_true(says("taps: 777"));
}

static void a_client_sees_no_stages(void **state)
{
  (void)state;
  char report[600];
  char reference[600];
  write_audio("ours & theirs.wav", WAV24, 44100, 2, music, 300000);
  snprintf(report, sizeof report, "--report=%s", name("rep"));
  snprintf(reference, sizeof reference, "--reference=%s", name("ours & theirs.wav"));
  const Outcome run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report,
                          "--client", reference);
  expect(&run, 0, "");
  read_page();
  assert_false(says("velvet-delay"));
  assert_false(says("steel-drive"));
  assert_false(says("taps: 777"));
  assert_false(says("id=\"settings\""));
  assert_true(says("ours &amp; theirs.wav"));
  assert_true(says("whole chain"));
}

static void a_part_and_a_short_mix_have_pages_too(void **state)
{
  (void)state;
  char report[600];
  snprintf(report, sizeof report, "--report=%s", name("rep"));
  Outcome run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report,
                    "--from=1", "--to=4");
  expect(&run, 0, "");
  read_page();
  assert_true(says("<strong>Rendered</strong>"));
  assert_false(says("id=\"account\""));
  free(page);
  write_audio("short.wav", WAV24, RATE, 1, music, 2000);
  write_text("plain.yaml", "planish: 1\nstages:\n  - {stage: test-delay, name: late}\n");
  run = RUN("render", name("plain.yaml"), name("short.wav"), name("master.wav"), report);
  expect(&run, 0, "");
  read_page();
  assert_false(says("id=\"player\""));
}

/* Held against the mix of the same seconds, not against all of it: a chain that changes nothing
 * changes no loudness, though the whole is louder than the part. */
static void an_excerpt_is_held_against_its_own_part_of_the_mix(void **state)
{
  (void)state;
  char report[600];
  snprintf(report, sizeof report, "--report=%s", name("rep"));
  float *rising = make_music(LENGTH);
  for (size_t n = 0; n < (size_t)2 * RATE; ++n) {
    rising[n] *= 0.1f;
  }
  write_audio("rising.wav", WAV24, RATE, 2, rising, LENGTH);
  free(rising);
  write_text("plain.yaml", "planish: 1\nstages:\n  - {stage: test-delay, name: late}\n");
  Outcome run = RUN("render", name("plain.yaml"), name("rising.wav"), name("master.wav"), report,
                    "--from=0", "--to=1");
  expect(&run, 0, "");
  read_page();
  assert_true(says("rising.wav, 0:00.000 to 0:01.000; times"));
  const char *row = strstr(page, "integrated loudness");
  assert_non_null(row);
  double figures[3];
  for (int n = 0; n < 3; ++n) {
    row = strstr(row, "<td>");
    assert_non_null(row);
    row += strlen("<td>");
    const bool minus = strncmp(row, "\xe2\x88\x92", 3) == 0;
    figures[n] = strtod(minus ? row + 3 : row, NULL);
  }
  printf("mix -%.2f, master -%.2f, change %.2f\n", figures[0], figures[1], figures[2]);
  assert_true(figures[2] < 0.02);
  free(page);
  run = RUN("render", name("plain.yaml"), name("rising.wav"), name("master.wav"), report);
  expect(&run, 0, "");
  read_page();
  assert_false(says("times on this page"));
}

/* Masters in folders of their own are often called the same. */
static void references_of_one_name_are_told_apart(void **state)
{
  (void)state;
  char report[600];
  char first[600];
  char second[600];
  assert_int_equal(mkdir(in_folder("other"), 0777), 0);
  write_audio("theirs.wav", WAV24, RATE, 2, music, 100000);
  write_audio("other/theirs.wav", WAV24, RATE, 2, music, 90000);
  snprintf(report, sizeof report, "--report=%s", name("rep"));
  snprintf(first, sizeof first, "--reference=%s", name("theirs.wav"));
  snprintf(second, sizeof second, "--reference=%s", name("other/theirs.wav"));
  const Outcome run =
      RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report, first, second);
  remove(in_folder("other/theirs.wav"));
  rmdir(in_folder("other"));
  expect(&run, 0, "");
  read_page();
  assert_true(says("other/theirs.wav</th>"));
  assert_false(says(">theirs.wav</th>"));
}

/* It can be read once only, so it is not checked. */
static void a_mix_from_standard_input_has_a_page(void **state)
{
  (void)state;
  char report[600];
  const int kept = dup(STDIN_FILENO);
  const int mix = open(in_folder("mix.wav"), O_RDONLY);
  assert_int_equal(dup2(mix, STDIN_FILENO), STDIN_FILENO);
  snprintf(report, sizeof report, "--report=%s", name("rep"));
  Outcome run = RUN("render", name("named.yaml"), "-", name("master.wav"), report);
  expect(&run, 0, "");
  read_page();
  assert_true(says("<strong>Landed</strong>"));
  assert_false(says("id=\"findings\""));
  run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report,
            "--reference=-");
  expect(&run, 2, "standard input");
  dup2(kept, STDIN_FILENO);
  close(kept);
  close(mix);
}

static void what_cannot_be_is_said_ahead_of_the_render(void **state)
{
  (void)state;
  char report[600];
  snprintf(report, sizeof report, "--report=%s", name("rep"));
  Outcome run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), "--client");
  expect(&run, 2, "--report");
  run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report,
            "--reference=/nonexistent.wav");
  expect(&run, 4, "/nonexistent.wav");
  assert_int_not_equal(access(name("rep"), F_OK), 0);
  run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"), report,
            "--targets=-12,-14");
  expect(&run, 2, "not together");
  run = RUN("render", name("named.yaml"), name("mix.wav"), name("master.wav"),
            "--report=/nonexistent/rep");
  expect(&run, 4, "/nonexistent/rep");
  run = RUN("render", name("named.yaml"), name("mix.wav"), name("rep.wav"), "--report",
            name("rep.wav"));
  expect(&run, 2, "in the place of the master");
  assert_int_not_equal(access(name("rep.wav"), F_OK), 0);
  /* The page may not take the sheet's place. */
  write_text("master.html", named_sheet);
  snprintf(report, sizeof report, "--report=%s", files_folder);
  run = RUN("render", name("master.html"), name("mix.wav"), name("master.wav"), report);
  expect(&run, 2, "master.html");
  assert_int_not_equal(access(name("master.wav"), F_OK), 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(a_master_gets_its_page, start, clear_up),
      cmocka_unit_test_setup_teardown(what_others_made_is_left_alone, start, clear_up),
      cmocka_unit_test_setup_teardown(a_client_sees_no_stages, start, clear_up),
      cmocka_unit_test_setup_teardown(a_part_and_a_short_mix_have_pages_too, start, clear_up),
      cmocka_unit_test_setup_teardown(an_excerpt_is_held_against_its_own_part_of_the_mix, start,
                                      clear_up),
      cmocka_unit_test_setup_teardown(references_of_one_name_are_told_apart, start, clear_up),
      cmocka_unit_test_setup_teardown(a_mix_from_standard_input_has_a_page, start, clear_up),
      cmocka_unit_test_setup_teardown(what_cannot_be_is_said_ahead_of_the_render, start, clear_up),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
