/* Runs the program (PLANISH_PROGRAM) on files in the test's folder. */
#ifndef PLANISH_TESTS_PROGRAM_FIXTURE_H
#define PLANISH_TESTS_PROGRAM_FIXTURE_H

#include "tests/harness/files_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>

enum { RATE = 48000, LENGTH = 480000, WAV24 = SF_FORMAT_WAV | SF_FORMAT_PCM_24 };

static float *music;

static const char sheet_text[] =
    "planish: 1\n"
    "input: {loudness: -18}\n"
    "target: {loudness: -12, ceiling: -0.5, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
    "stages:\n"
    "  - {stage: test-delay, name: late, taps: 777}\n"
    "  - {stage: test-drive, name: drive}\n";

/* What a run of the program left. */
typedef struct {
  int code;
  char out[16384];
  char error[4096];
} Outcome;

/* execv() takes strings without const, though it does not write them. */
static inline pid_t launch(const char *const given[])
{
  char *arguments[24] = {NULL};
  for (int n = 0; given[n] != NULL; ++n) {
    memcpy(&arguments[n], &given[n], sizeof given[n]);
  }
  const pid_t child = fork();
  if (child == 0) {
    const int out = open(in_folder("stdout"), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    const int error = open(in_folder("stderr"), O_WRONLY | O_CREAT | O_TRUNC, 0600);
    dup2(out, STDOUT_FILENO);
    dup2(error, STDERR_FILENO);
    execv(getenv("PLANISH_PROGRAM"), arguments);
    _exit(99);
  }
  return child;
}

static inline void read_text(const char *name, char *text, size_t size)
{
  FILE *file = fopen(in_folder(name), "r");
  text[file == NULL ? 0 : fread(text, 1, size - 1, file)] = '\0';
  if (file != NULL) {
    fclose(file);
  }
  remove(in_folder(name));
}

static inline Outcome finish(pid_t child)
{
  Outcome outcome;
  int status = 0;
  waitpid(child, &status, 0);
  outcome.code = WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
  memset(outcome.out, 0, sizeof outcome.out);
  memset(outcome.error, 0, sizeof outcome.error);
  read_text("stdout", outcome.out, sizeof outcome.out);
  read_text("stderr", outcome.error, sizeof outcome.error);
  return outcome;
}

#define RUN(...) finish(launch((const char *const[]){"planish", __VA_ARGS__, NULL}))

static inline const char *name(const char *file)
{
  static char names[16][512];
  static int next;
  char *place = names[next++ % 16];
  snprintf(place, sizeof names[0], "%s/%s", files_folder, file);
  return place;
}

static inline int lines_of(const char *text)
{
  int count = 0;
  for (; *text != '\0'; ++text) {
    count += *text == '\n';
  }
  return count;
}

static inline void expect(const Outcome *outcome, int code, const char *says)
{
  if (outcome->code != code || strstr(outcome->error, says) == NULL ||
      (code > 1 && lines_of(outcome->error) != 1) ||
      (code > 1 && strncmp(outcome->error, "planish: ", 9) != 0)) {
    print_error("expected %d \"%s\", got %d: %s\n", code, says, outcome->code, outcome->error);
    fail();
  }
}

static inline char *bytes_of(const char *file, size_t *size)
{
  FILE *stream = fopen(in_folder(file), "rb");
  assert_non_null(stream);
  char *bytes = malloc(8 * LENGTH);
  *size = fread(bytes, 1, 8 * LENGTH, stream);
  fclose(stream);
  return bytes;
}

static inline void expect_same_bytes(const char *one, const char *two)
{
  size_t sizes[2];
  char *first = bytes_of(one, &sizes[0]);
  char *second = bytes_of(two, &sizes[1]);
  assert_int_equal(sizes[0], sizes[1]);
  assert_memory_equal(first, second, sizes[0]);
  free(first);
  free(second);
}

static inline int start_files(void **state)
{
  empty_folder(state);
  write_text("sheet.yaml", sheet_text);
  write_audio("mix.wav", WAV24, RATE, 2, music, LENGTH);
  return 0;
}

static inline int open_all(void **state)
{
  music = make_music(LENGTH);
  return make_folder(state);
}

static inline int close_all(void **state)
{
  free(music);
  return remove_folder(state);
}

#endif
