/* Finds where a signal has been cut off: runs of 3 or more equal samples in a row.
 *
 * A run counts at full scale or over, and at the channel's own highest or lowest value, since a
 * clipped file is often turned down afterwards. A very low tone, or very quiet sound of few bits,
 * has such runs by nature.
 *
 * Thread: one at a time an object. Real-time safe. */
#ifndef PLANISH_HARNESS_CLIPPED_RUNS_H
#define PLANISH_HARNESS_CLIPPED_RUNS_H

#include <stdint.h>

/* The highest value of 16 bit; longer words reach higher. */
#define PLANISH_FULL_SCALE (32767.0 / 32768.0)

/* One channel. All zero is the start of a file. */
typedef struct {
  double value;        /* of the run under way */
  uint64_t length;     /* of it */
  double highest;      /* so far, above 0 */
  double lowest;       /* so far, below 0 */
  uint64_t at_highest; /* runs, where that is under full scale */
  uint64_t at_lowest;
  uint64_t at_full_scale; /* runs, either sign */
} PlanishClippedRuns;

void planish_clipped_runs_process(PlanishClippedRuns *runs, double sample);

uint64_t planish_clipped_runs_count(const PlanishClippedRuns *runs);

#endif
