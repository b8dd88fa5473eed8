/* A line of progress on a terminal, for what takes longer than a second. Thread: main. */
#ifndef PLANISH_HARNESS_PROGRESS_H
#define PLANISH_HARNESS_PROGRESS_H

#include <stdbool.h>

typedef struct {
  bool on;      /* standard error is a terminal */
  bool shown;   /* a line stands there */
  double began; /* s */
  double last;  /* s, when it was last drawn */
} PlanishProgress;

PlanishProgress planish_progress_new(void);

/* `number` 0: not shown. `user` is the PlanishProgress. */
void planish_progress_tell(void *user, const char *what, unsigned number, double share);

/* Clears the line. */
void planish_progress_end(PlanishProgress *progress);

#endif
