/* A line of progress with the time that is left, on a terminal, for what takes longer than a
 * second; nothing in a pipe or file. Without colour. Thread: main. */
#ifndef PLANISH_HARNESS_PROGRESS_H
#define PLANISH_HARNESS_PROGRESS_H

#include <stdbool.h>
#include <stddef.h>

typedef struct {
  bool on;       /* standard error is a terminal */
  bool shown;    /* a line stands there */
  double began;  /* s */
  double last;   /* s, when it was last drawn */
  char part[64]; /* what is being done, and since when */
  unsigned number;
  double part_began; /* s */
} PlanishProgress;

PlanishProgress planish_progress_new(void);

/* `number` 0: not shown. `user` is the PlanishProgress. */
void planish_progress_tell(void *user, const char *what, unsigned number, double share);

/* The line: "render 2:  45 %, 0:12 left". `seconds` have passed for `share` of what is done now;
 * the time left is for that, and stands there once both tell something. */
void planish_progress_line(char *text, size_t size, const char *what, unsigned number, double share,
                           double seconds);

/* Clears the line. */
void planish_progress_end(PlanishProgress *progress);

#endif
