/* Fits the three tiers of distortion.h to one pair of tracks, over one stretch.
 *
 * The linear tier alone first, until it wins no more; then level and linear tier in turn, each on
 * what the other leaves (else the gains' movement blurs the filters); then one more pass that
 * judges the rest. Each pass reads the stretch anew, chunk by chunk: nothing grows with its length
 * but one number for each frame of the masking model.
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_TIER_FIT_H
#define PLANISH_HARNESS_TIER_FIT_H

#include "harness/distortion/distortion.h"
#include "harness/distortion/fit_plans.h"

typedef struct PlanishTierFit PlanishTierFit;

/* `plans` must outlive it. NULL without memory. */
PlanishTierFit *planish_tier_fit_new(const PlanishFitPlans *plans);
/* NULL is allowed. */
void planish_tier_fit_free(PlanishTierFit *fit);

/* Fills all of *result from gain_lowest on, and the status; `result->stretch` says where.
 * Errors: those of reading, interrupt, memory. */
bool planish_tier_fit_run(PlanishTierFit *fit, PlanishTrack *before, PlanishTrack *after,
                          PlanishDistortion *result, PlanishError *error);

#endif
