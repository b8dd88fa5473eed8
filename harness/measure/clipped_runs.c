#include "harness/measure/clipped_runs.h"

#include <math.h>
#include <stdbool.h>

#define SHORTEST_RUN 3

/* A parabola that is rounded to three equal values of 16 bits is off them by at most four at the
 * next. */
#define LEAST_STEP (5.0 / 32768.0)

/* What the dither of a word of 24 bits moves two equal samples apart by, at the most. */
#define DITHER (4.0 / 8388608.0)

static bool is_alike(double a, double b)
{
  return fabs(a - b) <= DITHER;
}

static void add_run(const PlanishClippedRuns *runs, PlanishRunsAt *to)
{
  planish_places_add(&to->places, runs->frame - runs->length);
  to->longest = runs->length > to->longest ? runs->length : to->longest;
}

/* `next` is the sample behind the run. */
static void end_run(PlanishClippedRuns *runs, double next)
{
  if (runs->length < SHORTEST_RUN) {
    return; /* nearly every sample */
  }
  const double step = fmax(fabs(runs->before - runs->value), fabs(next - runs->value));
  if (!(step > LEAST_STEP)) {
    return;
  }
  if (fabs(runs->value) >= PLANISH_FULL_SCALE) {
    add_run(runs, &runs->at_full_scale);
  } else if (is_alike(runs->value, runs->highest) && runs->value > 0.0) {
    add_run(runs, &runs->at_highest);
  } else if (is_alike(runs->value, runs->lowest) && runs->value < 0.0) {
    add_run(runs, &runs->at_lowest);
  }
}

void planish_clipped_runs_process(PlanishClippedRuns *runs, double sample)
{
  if (!is_alike(sample, runs->value)) {
    end_run(runs, sample);
    runs->before = runs->last;
    runs->value = sample;
    runs->length = 0;
  }
  runs->last = sample;
  if (sample > runs->highest + DITHER) {
    runs->highest = sample;
    runs->at_highest = (PlanishRunsAt){0};
  }
  if (sample < runs->lowest - DITHER) {
    runs->lowest = sample;
    runs->at_lowest = (PlanishRunsAt){0};
  }
  ++runs->length;
  ++runs->frame;
}

void planish_clipped_runs_finish(PlanishClippedRuns *runs)
{
  end_run(runs, 0.0);
  runs->length = 0;
}

uint64_t planish_clipped_runs_count(const PlanishClippedRuns *runs)
{
  return runs->at_highest.places.count + runs->at_lowest.places.count +
         runs->at_full_scale.places.count;
}
