/* The program under what happens to programs: signals, streams that are closed, files that change,
 * names that are odd. */
#include "tests/harness/program_fixture.h"

#include <poll.h>
#include <sys/file.h>

static const char abandoned[] = ".planish-%s-1-0.part";

/* In the folder, under the name that a render of this machine would give it. */
static const char *part_name(const char *form)
{
  char host[65] = "";
  char text[160];
  gethostname(host, sizeof host - 1);
  snprintf(text, sizeof text, form, host);
  return in_folder(text);
}

static void touch(const char *path)
{
  FILE *file = fopen(path, "w");
  assert_non_null(file);
  fclose(file);
}

static void what_a_killed_render_left_goes_with_the_next(void **state)
{
  (void)state;
  start_files(NULL);
  char mine[512];
  char other[512];
  snprintf(mine, sizeof mine, "%s", part_name(abandoned));
  snprintf(other, sizeof other, "%s", part_name(".planish-%s-2-0.part"));
  touch(mine);
  touch(other);
  touch(in_folder(".planish-elsewhere-1-0.part"));
  touch(in_folder(".planish-notes"));
  const int held = open(other, O_RDWR);
  assert_int_equal(flock(held, LOCK_EX), 0);
  const Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  assert_int_not_equal(access(mine, F_OK), 0);
  assert_int_equal(access(other, F_OK), 0);
  assert_int_equal(access(in_folder(".planish-elsewhere-1-0.part"), F_OK), 0);
  assert_int_equal(access(in_folder(".planish-notes"), F_OK), 0);
  close(held);
}

/* Starts a render of half a minute; returns when its half-written file is there. */
static pid_t start_long(void)
{
  start_files(NULL);
  float *noise = make_music((size_t)30 * RATE);
  write_audio("long.wav", WAV24, RATE, 2, noise, (size_t)30 * RATE);
  free(noise);
  const int files = count_files();
  const pid_t child = launch((const char *const[]){"planish", "render", name("sheet.yaml"),
                                                   name("long.wav"), name("out.wav"), NULL});
  /* stdout and stderr are two more. */
  for (int wait = 0; wait < 20000 && count_files() < files + 3; ++wait) {
    poll(NULL, 0, 1);
  }
  assert_int_equal(count_files(), files + 3);
  return child;
}

static void a_hang_up_that_is_ignored_stays_so(void **state)
{
  (void)state;
  signal(SIGHUP, SIG_IGN);
  const pid_t child = start_long();
  signal(SIGHUP, SIG_DFL);
  kill(child, SIGHUP);
  const Outcome outcome = finish(child);
  assert_int_equal(outcome.code, 0);
}

/* What is on its way is the user's alone; the master has the mode that any new file has. */
static void what_is_on_its_way_is_private(void **state)
{
  (void)state;
  struct stat facts;
  const mode_t mask = umask(0027);
  const pid_t child = start_long();
  DIR *folder = opendir(files_folder);
  int seen = 0;
  for (const struct dirent *entry = readdir(folder); entry != NULL; entry = readdir(folder)) {
    if (strncmp(entry->d_name, ".planish-", 9) == 0 &&
        stat(in_folder(entry->d_name), &facts) == 0) {
      assert_int_equal(facts.st_mode & 0777, 0600);
      seen += 1;
    }
  }
  closedir(folder);
  umask(mask);
  assert_true(seen > 0);
  const Outcome outcome = finish(child);
  assert_int_equal(outcome.code, 0);
  assert_int_equal(stat(name("out.wav"), &facts), 0);
  assert_int_equal(facts.st_mode & 0777, 0640);
  assert_int_equal(stat(name("out.wav.yaml"), &facts), 0);
  assert_int_equal(facts.st_mode & 0777, 0640);
}

/* No shell, no other program and no network: the program calls nothing that could start or reach
 * one. Skipped by name where there is no nm. */
static void nothing_is_started_and_nothing_reached(void **state)
{
  (void)state;
  static const char *const never[] = {
      "system", "popen",   "execv",       "execve",       "execvp", "execl",
      "execlp", "fexecve", "posix_spawn", "posix_spawnp", "socket", "connect",
      "bind",   "listen",  "getaddrinfo", "gethostbyname"};
  char command[700];
  char symbol[256];
  size_t count = 0;
  snprintf(command, sizeof command, "nm -D --undefined-only '%s' 2>/dev/null",
           getenv("PLANISH_PROGRAM"));
  FILE *symbols = popen(command, "r");
  assert_non_null(symbols);
  while (fscanf(symbols, " U %255[^@ \n]%*[^\n]", symbol) == 1 ||
         fscanf(symbols, " %*[^U\n] %255[^@ \n]%*[^\n]", symbol) == 1) {
    count += 1;
    for (size_t n = 0; n < sizeof never / sizeof *never; ++n) {
      assert_string_not_equal(symbol, never[n]);
    }
  }
  pclose(symbols);
  if (count == 0) {
    print_message("no nm: skipped\n");
    skip();
  }
  assert_true(count > 50);
}

static void a_mix_that_changes_is_refused(void **state)
{
  (void)state;
  const pid_t child = start_long();
  const int mix = open(in_folder("long.wav"), O_WRONLY);
  assert_int_equal(pwrite(mix, "abcdef", 6, 1000), 6);
  close(mix);
  const Outcome outcome = finish(child);
  expect(&outcome, 3, "changed while it was read");
  assert_int_equal(access(in_folder("out.wav"), F_OK), -1);
}

static void a_mix_that_is_replaced_or_removed_is_finished(void **state)
{
  (void)state;
  const pid_t child = start_long();
  remove(in_folder("long.wav"));
  const Outcome outcome = finish(child);
  expect(&outcome, 0, "");
  assert_int_equal(access(in_folder("out.wav"), F_OK), 0);
}

static void closed_streams_do_not_end_in_the_master(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  const pid_t child = fork();
  if (child == 0) {
    close(STDIN_FILENO);
    close(STDOUT_FILENO);
    close(STDERR_FILENO);
    execl(getenv("PLANISH_PROGRAM"), "planish", "render", name("sheet.yaml"), name("mix.wav"),
          name("closed.wav"), (char *)NULL);
    _exit(99);
  }
  outcome = finish(child);
  assert_int_equal(outcome.code, 4);
  size_t frames = 0;
  SF_INFO info;
  free(read_audio(name("closed.wav"), &frames, &info));
  assert_int_equal(frames, LENGTH);
  struct stat open_size;
  struct stat closed_size;
  stat(name("out.wav"), &open_size);
  stat(name("closed.wav"), &closed_size);
  assert_int_equal(open_size.st_size, closed_size.st_size);
}

static void links_that_lead_nowhere_are_refused(void **state)
{
  (void)state;
  start_files(NULL);
  assert_int_equal(symlink("absent/x.wav", in_folder("nowhere.wav")), 0);
  assert_int_equal(symlink("loop.wav", in_folder("loop.wav")), 0);
  const char *const links[] = {"nowhere.wav", "loop.wav"};
  for (size_t n = 0; n < 2; ++n) {
    const Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name(links[n]));
    expect(&outcome, 4, "leads nowhere");
    struct stat facts;
    assert_int_equal(lstat(in_folder(links[n]), &facts), 0);
    assert_true(S_ISLNK(facts.st_mode));
  }
}

static void odd_names_stay_on_one_line(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = RUN("render", name("a\nb.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 4, "a?b.yaml: cannot read");
  char lengthy[2001];
  memset(lengthy, 'x', sizeof lengthy - 1);
  lengthy[sizeof lengthy - 1] = '\0';
  outcome = RUN("stages", lengthy);
  expect(&outcome, 2, "see them with \"planish stages\"\n");
  outcome = RUN("stages", "a b: c");
  expect(&outcome, 2, "no URI: a b: c");
  outcome = RUN("stages", "1:2"); /* a scheme begins with a letter (RFC 3986, 3.1) */
  expect(&outcome, 2, "no URI: 1:2");
}

static void a_sheet_of_mistakes_ends(void **state)
{
  (void)state;
  start_files(NULL);
  FILE *sheet = fopen(in_folder("many.yaml"), "w");
  assert_non_null(sheet);
  fputs("planish: 1\n", sheet);
  for (int n = 0; n < 900; ++n) {
    fprintf(sheet, "k%d: 1\n", n);
  }
  fclose(sheet);
  Outcome outcome = RUN("render", name("many.yaml"), name("mix.wav"), name("out.wav"));
  assert_int_equal(outcome.code, 2);
  sheet = fopen(in_folder("many.yaml"), "a");
  for (int n = 0; n < 60000; ++n) {
    fprintf(sheet, "l%d: 1\n", n);
  }
  fclose(sheet);
  outcome = RUN("render", name("many.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 2, "many.yaml:1001:1: more than 1000");
}

static void a_matched_file_that_clips_is_told(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome =
      RUN("render", "--loudness=-40", "--matched", name("same.wav"), "--set=drive.ceiling=-20",
          name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  assert_true(outcome.code <= 1);
  float *loud = malloc((size_t)2 * LENGTH * sizeof *loud);
  for (size_t n = 0; n < 2 * (size_t)LENGTH; ++n) {
    loud[n] = 4.0f * music[n];
  }
  write_audio("loud.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 2, loud, LENGTH);
  free(loud);
  outcome = RUN("render", "--matched", name("same.wav"), name("sheet.yaml"), name("loud.wav"),
                name("out.wav"));
  assert_non_null(strstr(outcome.error, "same.wav: lower the level"));
}

static void one_bad_file_does_not_hide_the_others(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = RUN("measure", name("absent.wav"), name("mix.wav"));
  expect(&outcome, 4, "no such file");
  assert_non_null(strstr(outcome.out, "integrated"));
  write_text("words.wav", "words\n");
  outcome = RUN("measure", "--json", name("mix.wav"), name("words.wav"), name("mix.wav"));
  expect(&outcome, 3, "no audio");
  assert_non_null(strstr(outcome.out, "\"error\": \"no audio"));
  const char *first = strstr(outcome.out, "integrated_lufs");
  assert_non_null(first);
  assert_non_null(strstr(first + 1, "integrated_lufs"));
}

/* What was not heard long enough for is not silent. */
static void a_short_file_is_not_called_silent(void **state)
{
  (void)state;
  start_files(NULL);
  write_audio("second.wav", WAV24, RATE, 2, music, RATE);
  write_audio("moment.wav", WAV24, RATE, 2, music + RATE, RATE / 4);
  Outcome outcome = RUN("measure", name("second.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "short-term maximum             - (under 3 s)\n"));
  assert_null(strstr(outcome.out, "integrated                     -"));
  outcome = RUN("measure", name("moment.wav"));
  assert_non_null(strstr(outcome.out, "integrated                     - (under 0.4 s)\n"));
  assert_null(strstr(outcome.out, "silent"));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_a_killed_render_left_goes_with_the_next),
      cmocka_unit_test(a_hang_up_that_is_ignored_stays_so),
      cmocka_unit_test(what_is_on_its_way_is_private),
      cmocka_unit_test(nothing_is_started_and_nothing_reached),
      cmocka_unit_test(a_mix_that_changes_is_refused),
      cmocka_unit_test(a_mix_that_is_replaced_or_removed_is_finished),
      cmocka_unit_test(closed_streams_do_not_end_in_the_master),
      cmocka_unit_test(links_that_lead_nowhere_are_refused),
      cmocka_unit_test(odd_names_stay_on_one_line),
      cmocka_unit_test(a_sheet_of_mistakes_ends),
      cmocka_unit_test(a_matched_file_that_clips_is_told),
      cmocka_unit_test(one_bad_file_does_not_hide_the_others),
      cmocka_unit_test(a_short_file_is_not_called_silent),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
