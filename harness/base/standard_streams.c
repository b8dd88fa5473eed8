#include "harness/base/standard_streams.h"

#include "harness/base/interrupt.h"
#include "harness/base/place.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <poll.h>
#include <stddef.h>
#include <string.h>
#include <unistd.h>

enum {
  BLOCK = 65536,
  PATIENCE = 200, /* ms between looks at whether an end was asked for */
};

static int kept = -1; /* standard output, while it is kept for audio */

bool planish_is_stream(const char *path)
{
  return path != NULL && strcmp(path, "-") == 0;
}

const char *planish_input_name(const char *path)
{
  return planish_is_stream(path) ? "standard input" : path;
}

const char *planish_output_name(const char *path)
{
  return planish_is_stream(path) ? "standard output" : path;
}

/* A read or write that waits is begun again after a signal (interrupt.c); poll() is not. */
static bool wait_for(int descriptor, short what, PlanishError *error)
{
  struct pollfd look = {.fd = descriptor, .events = what};
  while (planish_interrupt_check(error)) {
    if (poll(&look, 1, PATIENCE) > 0) {
      return true;
    }
  }
  return false;
}

static bool is_passing(int reason)
{
  return reason == EINTR || reason == EAGAIN;
}

static bool keep_all(int to, const char *from, size_t count, const char *where, PlanishError *error)
{
  while (count > 0) {
    const ssize_t written = write(to, from, count);
    if (written < 0 && errno != EINTR) {
      return planish_fail(error, PLANISH_BAD_FILE,
                          "cannot keep standard input in a temporary file: %s: %s", where,
                          planish_place_advice(errno));
    }
    from += written > 0 ? written : 0;
    count -= written > 0 ? (size_t)written : 0;
  }
  return true;
}

bool planish_standard_input_copy(int to, const char *where,
                                 bool (*check)(void *user, PlanishError *error), void *user,
                                 PlanishError *error)
{
  static char block[BLOCK];
  size_t copied = 0;
  bool checked = false;
  if (isatty(STDIN_FILENO) == 1) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "a terminal: standard input: send audio into it, or name a file");
  }
  while (wait_for(STDIN_FILENO, POLLIN, error)) {
    const ssize_t got = read(STDIN_FILENO, block, sizeof block);
    if (got == 0) {
      return copied > 0 ||
             planish_fail(error, PLANISH_BAD_AUDIO,
                          "nothing came: standard input: see why what feeds it ended");
    }
    if (got < 0 && !is_passing(errno)) {
      return planish_fail(error, PLANISH_BAD_FILE,
                          "cannot read: standard input: send audio into it, or name a file");
    }
    if (got > 0 && !keep_all(to, block, (size_t)got, where, error)) {
      return false;
    }
    copied += got > 0 && !checked ? (size_t)got : 0;
    if (!checked && copied >= PLANISH_STANDARD_INPUT_HEAD) {
      checked = true;
      if (!check(user, error)) {
        return false;
      }
    }
  }
  return false;
}

bool planish_standard_output_keep(PlanishError *error)
{
  if (isatty(STDOUT_FILENO) == 1) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "a terminal: standard output: send it into a program or a file, or name "
                        "the output");
  }
  kept = dup(STDOUT_FILENO);
  return (kept >= 0 && dup2(STDERR_FILENO, STDOUT_FILENO) >= 0) ||
         planish_fail(error, PLANISH_BAD_FILE,
                      "cannot keep: standard output: close other files and try again");
}

int planish_standard_error_hush(void)
{
  const int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
  int before = nowhere < 0 ? -1 : fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, 3);
  if (before >= 0 && dup2(nowhere, STDERR_FILENO) < 0) {
    close(before);
    before = -1;
  }
  if (nowhere >= 0) {
    close(nowhere);
  }
  return before;
}

void planish_standard_error_back(int before)
{
  if (before >= 0) {
    (void)dup2(before, STDERR_FILENO);
    close(before);
  }
}

static bool fail_send(int reason, PlanishError *error)
{
  const char *advice = reason == EPIPE   ? "what it goes to ended before it was written"
                       : reason == EBADF ? "it is closed: send it into a program or a file"
                                         : planish_place_advice(reason);
  return planish_fail(error, PLANISH_BAD_FILE, "cannot write: standard output: %s", advice);
}

/* A pipe that has room at all takes PIPE_BUF bytes without a wait. */
static bool send_all(const char *from, size_t count, PlanishError *error)
{
  while (count > 0) {
    PlanishError asked = {0};
    if (!wait_for(kept, POLLOUT, &asked)) {
      return planish_fail(error, asked.outcome, "interrupted: standard output holds a part of it");
    }
    const ssize_t written = write(kept, from, count < PIPE_BUF ? count : PIPE_BUF);
    if (written < 0 && !is_passing(errno)) {
      return fail_send(errno, error);
    }
    from += written > 0 ? written : 0;
    count -= written > 0 ? (size_t)written : 0;
  }
  return true;
}

bool planish_standard_output_send(int from, PlanishError *error)
{
  static char block[BLOCK];
  off_t at = 0;
  ssize_t got = pread(from, block, sizeof block, at);
  while (got > 0 || (got < 0 && errno == EINTR)) {
    if (got > 0 && !send_all(block, (size_t)got, error)) {
      return false;
    }
    at += got > 0 ? got : 0;
    got = pread(from, block, sizeof block, at);
  }
  return got == 0 || planish_fail(error, PLANISH_BAD_FILE,
                                  "cannot read back: what goes to standard output: the disk of "
                                  "TMPDIR fails or lost it: set it to another");
}
