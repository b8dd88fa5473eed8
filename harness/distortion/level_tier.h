/* The level tier: slow gains that bring the linear part nearer to `after`.
 *
 * One real gain for each of PLANISH_LEVEL_BANDS bands every 27 ms, straight lines between, for each
 * of two channels: mid and side, or left and right, whichever explains more of the band. Least
 * squares over the spectra of overlapping frames of 21 ms, laid on by overlap-add as a difference:
 * where a gain is 1, nothing is touched.
 *
 * Works on one chunk (fit_plans.h): from its MARGIN ahead of the core to its MARGIN behind it.
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_LEVEL_TIER_H
#define PLANISH_HARNESS_LEVEL_TIER_H

#include "harness/distortion/fit_plans.h"

#include <stdbool.h>

#define PLANISH_LEVEL_BANDS 4 /* edges at 200, 800, 3200 Hz */

typedef struct PlanishLevelTier PlanishLevelTier;

/* How far the gains go, over cells (a band of a channel for 27 ms) with sound in
 * them; a gain that explains little of what its cell lacks is chance and counts as 0 dB. */
typedef struct {
  double lowest; /* dB */
  double highest;
  double mean; /* of magnitudes, weighted with power */
} PlanishLevelRange;

/* `plans` must outlive it. NULL without memory. */
PlanishLevelTier *planish_level_tier_new(const PlanishFitPlans *plans);
/* NULL is allowed. */
void planish_level_tier_free(PlanishLevelTier *tier);

/* Forgets what was learnt. */
void planish_level_tier_reset(PlanishLevelTier *tier);

/* At the start of each pass over the chunks: takes what the last one has learnt, which pair of
 * channels explains more and how much power a band has. */
void planish_level_tier_begin(PlanishLevelTier *tier);

/* `linear`: the chunk as the linear tier has it; `rest`: what it lacks. Fills `change`, what the
 * gains add to `linear`. All PLANISH_FIT_CORE + 2 PLANISH_FIT_MARGIN units long. */
void planish_level_tier_process(PlanishLevelTier *tier, const PlanishPair *linear,
                                const PlanishPair *rest, PlanishPair *change);

/* Of the cores of the chunks since begin(). Zeros where no cell had sound. */
PlanishLevelRange planish_level_tier_range(const PlanishLevelTier *tier);

#endif
