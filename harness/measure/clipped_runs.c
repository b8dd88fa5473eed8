#include "harness/measure/clipped_runs.h"

#include <math.h>

#define SHORTEST_RUN 3

/* The third sample makes it a run; those after it belong to the same. */
static void count_run(PlanishClippedRuns *runs)
{
  if (fabs(runs->value) >= PLANISH_FULL_SCALE) {
    ++runs->at_full_scale;
  } else if (runs->value == runs->highest && runs->value > 0.0) {
    ++runs->at_highest;
  } else if (runs->value == runs->lowest && runs->value < 0.0) {
    ++runs->at_lowest;
  }
}

void planish_clipped_runs_process(PlanishClippedRuns *runs, double sample)
{
  if (sample > runs->highest) {
    runs->highest = sample;
    runs->at_highest = 0;
  }
  if (sample < runs->lowest) {
    runs->lowest = sample;
    runs->at_lowest = 0;
  }
  if (sample != runs->value) {
    runs->value = sample;
    runs->length = 0;
  }
  if (++runs->length == SHORTEST_RUN) {
    count_run(runs);
  }
}

uint64_t planish_clipped_runs_count(const PlanishClippedRuns *runs)
{
  return runs->at_highest + runs->at_lowest + runs->at_full_scale;
}
