/* How often each loudness occurred: what gates and percentiles of a whole programme need, in
 * constant memory.
 *
 * Bins are 0.01 LU wide and keep a count and the sum of powers, so that means over bins are exact
 * and only the question which side of a gate a bin is on is rounded: where a share q of what
 * counts lies in the one bin that the relative gate falls into, the mean is off by less than
 * -10 lg(1 - q) dB, 0.0044 LU for a thousandth. Sound whose level varies holds some ten-thousandths
 * of its blocks there. Coarse bins of 1 LU above them keep every query short: some
 * 200 steps, always. A reset clears 120 of them, and what follows clears the rest where it comes
 * there.
 *
 * Counts are of 64 bits, and sums of so many powers stay exact to 1e-9: there is no limit of time.
 *
 * Power is the weighted mean square z of ITU-R BS.1770-4 Annex 1; its loudness is
 * -0.691 + 10 lg z.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_LOUDNESS_HISTOGRAM_H
#define PLANISH_DSP_LOUDNESS_HISTOGRAM_H

#include "common/dsp/arena.h"

#include <stdint.h>

/* Range of the bins, in LUFS. The floor is the absolute gate of BS.1770-4: what is at or under it
 * is left out. What is over the top stands in the last bin. */
#define PLANISH_LOUDNESS_FLOOR (-70)
#define PLANISH_LOUDNESS_TOP   50

typedef struct {
  uint64_t count;
  double power; /* sum */
  double mono;  /* sum of what the mono fold-down of the same items has */
} PlanishLoudnessBin;

typedef struct {
  PlanishLoudnessBin *fine;   /* 0.01 LU each */
  PlanishLoudnessBin *coarse; /* 1 LU each */
  PlanishLoudnessBin all;
} PlanishLoudnessHistogram;

void planish_loudness_histogram_setup(PlanishLoudnessHistogram *histogram, PlanishArena *arena);

void planish_loudness_histogram_reset(PlanishLoudnessHistogram *histogram);

/* `mono` is summed beside `power`, by which alone the item is placed. */
void planish_loudness_histogram_add(PlanishLoudnessHistogram *histogram, double power, double mono);

/* Everything whose loudness is over `gate` LUFS; a bin counts by its mean. */
PlanishLoudnessBin planish_loudness_histogram_over(const PlanishLoudnessHistogram *histogram,
                                                   double gate);

/* What passes the absolute gate, and then the relative one at `relative` LU over the mean of that.
 */
PlanishLoudnessBin planish_loudness_histogram_gated(const PlanishLoudnessHistogram *histogram,
                                                    double relative);

/* Loudness in LUFS of the item that stands at `rank` from above, 0 being the loudest: the mean of
 * its bin. -HUGE_VAL if there are fewer items. */
double planish_loudness_histogram_ranked(const PlanishLoudnessHistogram *histogram, uint64_t rank);

/* -0.691 + 10 lg power; -HUGE_VAL under 1e-100. */
double planish_loudness_of(double power);

#endif
