/* Finds where a signal has been cut off: runs of 3 or more equal samples in a row, with a step to
 * the sample before or behind. Equal is what the dither of 24 bits may have moved apart, since a
 * clipped mix is often turned down before it is written; that of 16 bits hides a run, but at full
 * scale.
 *
 * A run counts at full scale or over, and at the channel's own highest or lowest value, since a
 * clipped file is often turned down afterwards. The top of a very low tone has such runs by nature
 * in words of 16 bits, but comes and goes without a step; in shorter words it counts.
 *
 * Thread: one at a time an object. Real-time safe. */
#ifndef PLANISH_HARNESS_CLIPPED_RUNS_H
#define PLANISH_HARNESS_CLIPPED_RUNS_H

#include "harness/measure/places.h"

/* The highest value of 16 bit; longer words reach higher. */
#define PLANISH_FULL_SCALE (32767.0 / 32768.0)

typedef struct {
  PlanishPlaces places; /* first frame of each run */
  uint64_t longest;     /* frames */
} PlanishRunsAt;

/* One channel. All zero is the start of a file. */
typedef struct {
  double value;  /* of the run under way: its first sample */
  double last;   /* sample */
  double before; /* the sample before it */
  uint64_t length;
  uint64_t frame;           /* frames so far */
  double highest;           /* so far, above 0 */
  double lowest;            /* so far, below 0 */
  PlanishRunsAt at_highest; /* where that is under full scale */
  PlanishRunsAt at_lowest;
  PlanishRunsAt at_full_scale; /* either sign */
} PlanishClippedRuns;

void planish_clipped_runs_process(PlanishClippedRuns *runs, double sample);

/* At the end of the file: the run under way ends with silence. */
void planish_clipped_runs_finish(PlanishClippedRuns *runs);

/* Of all that have ended. */
uint64_t planish_clipped_runs_count(const PlanishClippedRuns *runs);

#endif
