#include "harness/program/progress.h"

#include "harness/base/text.h"

#include <math.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static const double least_share = 0.02; /* less says little of the time that is left */

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

void planish_progress_line(char *text, size_t size, const char *what, unsigned number, double share,
                           double seconds)
{
  char count[16] = "";
  char left[32] = "";
  if (number > 0) {
    planish_text_format(count, sizeof count, " %u", number);
  }
  if (share >= least_share && share < 1.0 && seconds >= 1.0) {
    const double all = ceil(seconds * (1.0 - share) / share);
    const double minutes = floor(all / 60.0);
    planish_text_format(left, sizeof left, ", %.0f:%02.0f left", minutes, all - 60.0 * minutes);
  }
  planish_text_line(text, size, "%s%s: %3.0f %%%s", what, count, floor(100.0 * share), left);
}

/* What is being done, so that time is counted anew with each part: they need not be equally long.
 */
static void follow_part(PlanishProgress *progress, const char *what, unsigned number, double time)
{
  const size_t most = sizeof progress->part - 1;
  if (strncmp(progress->part, what, most) != 0 || progress->number != number) {
    planish_text_format(progress->part, sizeof progress->part, "%s", what);
    progress->number = number;
    progress->part_began = time;
  }
}

void planish_progress_tell(void *user, const char *what, unsigned number, double share)
{
  PlanishProgress *progress = user;
  const double time = progress->on ? now() : 0.0;
  if (!progress->on) {
    return;
  }
  follow_part(progress, what, number, time);
  if (time - progress->began < 1.0 || time - progress->last < 0.1) {
    return;
  }
  progress->last = time;
  progress->shown = true;
  char line[128];
  planish_progress_line(line, sizeof line, what, number, share, time - progress->part_began);
  planish_text_print(stderr, "\r\033[K%s", line);
  (void)fflush(stderr);
}

void planish_progress_end(PlanishProgress *progress)
{
  if (progress->shown) {
    (void)fputs("\r\033[K", stderr);
    progress->shown = false;
  }
}
