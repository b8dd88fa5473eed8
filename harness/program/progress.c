#include "harness/program/progress.h"

#include "harness/base/text.h"

#include <time.h>
#include <unistd.h>

static double now(void)
{
  struct timespec time;
  clock_gettime(CLOCK_MONOTONIC, &time);
  return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

PlanishProgress planish_progress_new(void)
{
  return (PlanishProgress){.on = isatty(STDERR_FILENO) == 1, .began = now()};
}

void planish_progress_tell(void *user, const char *what, unsigned number, double share)
{
  PlanishProgress *progress = user;
  const double time = progress->on ? now() : 0.0;
  if (!progress->on || time - progress->began < 1.0 || time - progress->last < 0.1) {
    return;
  }
  progress->last = time;
  progress->shown = true;
  char count[16] = "";
  if (number > 0) {
    planish_text_format(count, sizeof count, " %u", number);
  }
  planish_text_print(stderr, "\r\033[K%s%s: %3.0f %%", what, count, 100.0 * share);
  (void)fflush(stderr);
}

void planish_progress_end(PlanishProgress *progress)
{
  if (progress->shown) {
    (void)fputs("\r\033[K", stderr);
    progress->shown = false;
  }
}
