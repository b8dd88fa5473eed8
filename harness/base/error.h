/* What went wrong, in one line, and what kind of thing it was.
 *
 * Every function of harness/ that can fail takes a PlanishError, fills it at its first failure and
 * returns false or NULL. main prints it and turns the outcome into an exit code; a command that
 * goes on all the same prints it itself.
 *
 * Lines follow one pattern: WHAT went wrong: WHERE: what to do.
 * Thread: any, one error a thread. */
#ifndef PLANISH_HARNESS_ERROR_H
#define PLANISH_HARNESS_ERROR_H

#include <stdbool.h>

typedef enum {
  PLANISH_DONE,        /* exit code 0 */
  PLANISH_MISSED,      /* 1: a target or a comparison was missed; the result is there */
  PLANISH_BAD_USE,     /* 2: the command line, the sheet, the bundle or a stage */
  PLANISH_BAD_AUDIO,   /* 3: audio that cannot be used */
  PLANISH_BAD_FILE,    /* 4: a file that cannot be read or written, or no memory */
  PLANISH_INTERRUPTED, /* 130: SIGINT, SIGTERM or SIGHUP */
} PlanishOutcome;

typedef struct {
  PlanishOutcome outcome;
  int line;   /* in the sheet, from 1; 0: not about a place in a sheet */
  int column; /* from 1; 0 likewise */
  char text[640];
} PlanishError;

/* Fills `error` unless it holds a failure already (the first one is the cause). Numbers are written
 * with a decimal point whatever the locale. Always false, so that a caller can return it.
 * `error` may be NULL. */
bool planish_fail(PlanishError *error, PlanishOutcome outcome, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The same for a place in a sheet. */
bool planish_fail_at(PlanishError *error, int line, int column, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* Out of memory, in the words used everywhere. Always false. */
bool planish_fail_memory(PlanishError *error);

/* Ready for use again. */
void planish_error_clear(PlanishError *error);

#endif
