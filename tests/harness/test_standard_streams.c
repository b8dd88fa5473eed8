/* Audio through pipes: render, check and measure with "-" for a file. */
#include "tests/harness/program_fixture.h"

#include <poll.h>
#include <stdarg.h>
#include <sys/ioctl.h>

/* Runs a line of the shell in the test's folder, where temporary files stand too; $P is the
 * program. */
static pid_t begin(const char *format, ...) __attribute__((format(printf, 1, 2)));

static pid_t begin(const char *format, ...)
{
  char line[1024];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(line, sizeof line, format, arguments);
  va_end(arguments);
  const pid_t child = fork();
  if (child == 0) {
    const int out = open(in_folder("stdout"), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    const int error = open(in_folder("stderr"), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    dup2(out, STDOUT_FILENO);
    dup2(error, STDERR_FILENO);
    setenv("TMPDIR", files_folder, 1);
    setenv("P", getenv("PLANISH_PROGRAM"), 1);
    if (chdir(files_folder) == 0) {
      execl("/bin/sh", "sh", "-c", line, (char *)NULL);
    }
    _exit(99);
  }
  return child;
}

#define SHELL(...) finish(begin(__VA_ARGS__))

/* The second is gone afterwards. */
static void drop_same_bytes(const char *one, const char *two)
{
  expect_same_bytes(one, two);
  assert_int_equal(remove(in_folder(two)), 0);
}

static void a_pipe_gives_the_same_master(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome =
      RUN("render", "--no-recall", name("sheet.yaml"), name("mix.wav"), name("own.wav"));
  expect(&outcome, 0, "");
  outcome = SHELL("cat mix.wav | $P render sheet.yaml - - | cat > out.wav");
  expect(&outcome, 0, "mix       standard input: ");
  assert_non_null(strstr(outcome.error, "\nlanded    "));
  assert_non_null(strstr(outcome.error, "\nwritten   standard output: WAV 24 bit"));
  drop_same_bytes("own.wav", "out.wav");
  outcome = SHELL("$P render sheet.yaml - out.wav < mix.wav");
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "mix       standard input: "));
  drop_same_bytes("own.wav", "out.wav");
  outcome = SHELL("$P render --matched=matched.wav --account sheet.yaml mix.wav - > out.wav");
  expect(&outcome, 0, "whole chain");
  assert_string_equal(outcome.out, "");
  drop_same_bytes("own.wav", "out.wav");
  assert_int_equal(count_files(), 2 + 2);
  outcome = SHELL("$P render --float sheet.yaml - - < mix.wav > out.wav");
  expect(&outcome, 0, "WAV 32-bit float");
  assert_int_equal(count_files(), 2 + 3);
}

/* The header's lengths as writers into a pipe leave them: 2^32-1 by most; sound kept short of
 * 2^31 by some; 0 where nothing was filled in. From memory of such files. */
static void a_header_that_does_not_know_the_length_is_believed_to_its_end(void **state)
{
  (void)state;
  static const unsigned char lengths[][2][4] = {
      {{0xff, 0xff, 0xff, 0xff}, {0xff, 0xff, 0xff, 0xff}},
      {{0xff, 0xff, 0xff, 0xff}, {0xdb, 0xff, 0xff, 0xff}},
      {{0x24, 0xf0, 0xff, 0x7f}, {0x00, 0xf0, 0xff, 0x7f}},
      {{0x24, 0x00, 0x00, 0x80}, {0x00, 0x00, 0x00, 0x80}},
      {{8, 0, 0, 0}, {0, 0, 0, 0}},
  };
  for (size_t n = 0; n < sizeof lengths / sizeof *lengths; ++n) {
    start_files(NULL);
    FILE *file = fopen(in_folder("mix.wav"), "r+b");
    fseek(file, 4, SEEK_SET);
    fwrite(lengths[n][0], 1, 4, file);
    fseek(file, 40, SEEK_SET);
    fwrite(lengths[n][1], 1, 4, file);
    fclose(file);
    Outcome outcome = SHELL("cat mix.wav | $P measure --json -");
    expect(&outcome, 0, "");
    assert_string_equal(outcome.error, "");
    assert_non_null(strstr(outcome.out, "\"standard input\""));
    assert_non_null(strstr(outcome.out, "480000"));
    outcome = SHELL("$P measure --json mix.wav");
    assert_non_null(strstr(outcome.out, "480000"));
  }
}

static void whatever_can_be_read_comes_through_a_pipe(void **state)
{
  (void)state;
  static const int formats[] = {SF_FORMAT_FLAC | SF_FORMAT_PCM_24,
                                SF_FORMAT_AIFF | SF_FORMAT_PCM_16, SF_FORMAT_AU | SF_FORMAT_FLOAT,
                                SF_FORMAT_OGG | SF_FORMAT_VORBIS};
  for (size_t n = 0; n < sizeof formats / sizeof *formats; ++n) {
    start_files(NULL);
    write_audio("mix", formats[n], RATE, 2, music, LENGTH);
    Outcome outcome = SHELL("cat mix | $P measure --json -");
    expect(&outcome, 0, "");
    assert_non_null(strstr(outcome.out, "480000"));
  }
  Outcome by_name = SHELL("$P check mix.wav");
  Outcome outcome = SHELL("cat mix.wav | $P check -");
  assert_int_equal(outcome.code, by_name.code);
  assert_string_equal(strchr(outcome.out, ':'), strchr(by_name.out, ':'));
  assert_int_equal(strncmp(outcome.out, "standard input:", 15), 0);
}

static void what_cannot_be_used_is_refused(void **state)
{
  (void)state;
  static const struct {
    const char *line;
    int code;
    const char *says;
  } cases[] = {
      {": | $P render sheet.yaml - out.wav", 3, "nothing came: standard input: "},
      {"$P measure - < /dev/null", 3, "nothing came: standard input: "},
      {"cat sheet.yaml | $P render sheet.yaml - out.wav", 3, "no audio that can be read: standard"},
      /* These have no end: they are refused by what they begin with. */
      {"cat /dev/zero | $P check -", 3, "no audio that can be read: standard input"},
      {"cat /dev/urandom | $P measure -", 3, "no audio that can be read: standard input"},
      {"yes | $P render sheet.yaml - out.wav", 3, "no audio that can be read: standard input"},
      {"head -c 40 mix.wav | $P render sheet.yaml - -", 3,
       "no audio that can be read: standard input"},
      {"$P render sheet.yaml - out.wav <&-", 4, "cannot read: standard input: "},
      {"$P render sheet.yaml - out.wav < .", 4, "cannot read: standard input: "},
      {"ulimit -f 100; cat mix.wav | $P render sheet.yaml - out.wav", 4,
       "cannot keep standard input in a temporary file: beside out.wav: "},
      {"ulimit -f 100; cat mix.wav | $P measure -", 4, "temporary file: in TMPDIR ("},
      {"TMPDIR=/nowhere; cat mix.wav | $P measure -", 4, "in TMPDIR (/nowhere): its folder"},
      {"$P render sheet.yaml mix.wav - > /dev/full", 4, "standard output: the disk is full"},
      {"$P render sheet.yaml mix.wav - >&-", 4, "cannot write: standard output: it is closed"},
      {"ulimit -f 100; $P render sheet.yaml mix.wav - | wc -c", 0,
       "cannot write: temporary file in TMPDIR ("},
      {"$P render sheet.yaml mix.wav - >> mix.wav", 2, "would be written over mix.wav"},
      {"$P render sheet.yaml - mix.wav < mix.wav", 2, "would be written over /dev/stdin: mix.wav"},
      {"$P render --json sheet.yaml mix.wav - | cat", 0, "not together: --json and standard out"},
      {"$P render --targets=-9,-12 sheet.yaml mix.wav - ", 2, "not together: --targets and"},
      {"$P render --without=late sheet.yaml mix.wav - ", 2, "not together: --without and"},
      {"$P render --report=. sheet.yaml mix.wav - ", 2, "not together: --report and standard"},
      {"$P render --matched=- sheet.yaml mix.wav out.wav", 2, "not together: --matched and"},
  };
  start_files(NULL);
  SHELL("cp mix.wav before");
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    Outcome outcome = SHELL("%s", cases[n].line);
    expect(&outcome, cases[n].code, cases[n].says);
    assert_int_equal(count_files(), 3);
    Outcome same = SHELL("cmp before mix.wav");
    assert_int_equal(same.code, 0);
  }
  Outcome outcome = SHELL("head -c 100000 mix.wav | $P check -");
  expect(&outcome, 1, "");
  outcome = SHELL("head -c 300000 mix.wav | $P render sheet.yaml - out.wav");
  expect(&outcome, 0, "warning: cut short, its header promises more audio");
}

/* Whoever reads has enough: an error of the write, not the end by a signal. */
static void a_broken_pipe_is_an_error(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome =
      SHELL("{ $P render sheet.yaml mix.wav - ; echo $? >&3; } 3> code | head -c 10 > head");
  assert_non_null(strstr(outcome.error, "planish: cannot write: standard output: what it goes to"));
  assert_int_equal(lines_of(outcome.error), 1);
  char code[8];
  read_text("code", code, sizeof code);
  assert_string_equal(code, "4\n");
  assert_int_equal(count_files(), 2 + 1);
}

/* A table that is read in part is not a mistake to tell of; it is not whole either. */
static void a_table_may_be_read_in_part(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = SHELL("{ sleep 0.2; $P stages test-delay; echo $? >&3; } 3> code | true");
  assert_string_equal(outcome.error, "");
  char code[8];
  read_text("code", code, sizeof code);
  assert_string_equal(code, "4\n");
}

static void terminals_are_refused(void **state)
{
  (void)state;
  start_files(NULL);
  const int terminal = posix_openpt(O_RDWR | O_NOCTTY);
  if (terminal < 0 || grantpt(terminal) != 0 || unlockpt(terminal) != 0) {
    print_message("no terminal can be made here: skipped\n");
    skip();
  }
  const char *side = ptsname(terminal);
  Outcome outcome = SHELL("$P render sheet.yaml - out.wav < %s", side);
  expect(&outcome, 2, "a terminal: standard input: ");
  outcome = SHELL("$P render sheet.yaml mix.wav - > %s", side);
  expect(&outcome, 2, "a terminal: standard output: ");
  close(terminal);
  assert_int_equal(count_files(), 2);
}

static void an_interrupt_ends_the_wait_for_more(void **state)
{
  (void)state;
  start_files(NULL);
  assert_int_equal(mkfifo(in_folder("pipe"), 0600), 0);
  const int pipe = open(in_folder("pipe"), O_RDWR | O_CLOEXEC);
  assert_int_equal(write(pipe, "RIFF", 4), 4);
  const pid_t child = begin("exec $P render sheet.yaml - out.wav <> pipe");
  for (int left = 4; left > 0; poll(NULL, 0, 10)) {
    assert_int_equal(ioctl(pipe, FIONREAD, &left), 0);
  }
  kill(child, SIGINT);
  Outcome outcome = finish(child);
  close(pipe);
  expect(&outcome, 130, "interrupted: nothing was written");
  assert_int_equal(count_files(), 2 + 1);
}

static void an_interrupt_ends_the_wait_for_whoever_reads(void **state)
{
  (void)state;
  start_files(NULL);
  assert_int_equal(mkfifo(in_folder("pipe"), 0600), 0);
  const int pipe = open(in_folder("pipe"), O_RDWR | O_CLOEXEC);
  const pid_t child = begin("exec $P render sheet.yaml mix.wav - 1<> pipe");
  char head[4];
  struct pollfd look = {.fd = pipe, .events = POLLIN};
  assert_int_equal(poll(&look, 1, 60000), 1);
  assert_int_equal(read(pipe, head, sizeof head), 4);
  assert_memory_equal(head, "RIFF", 4);
  kill(child, SIGINT);
  Outcome outcome = finish(child);
  close(pipe);
  expect(&outcome, 130, "interrupted: standard output holds a part of it");
  assert_int_equal(count_files(), 2 + 1);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_pipe_gives_the_same_master),
      cmocka_unit_test(a_header_that_does_not_know_the_length_is_believed_to_its_end),
      cmocka_unit_test(whatever_can_be_read_comes_through_a_pipe),
      cmocka_unit_test(what_cannot_be_used_is_refused),
      cmocka_unit_test(a_broken_pipe_is_an_error),
      cmocka_unit_test(a_table_may_be_read_in_part),
      cmocka_unit_test(terminals_are_refused),
      cmocka_unit_test(an_interrupt_ends_the_wait_for_more),
      cmocka_unit_test(an_interrupt_ends_the_wait_for_whoever_reads),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
