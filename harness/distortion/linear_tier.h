/* The linear tier: the two by two matrix of FIR filters, mid and side to mid and side, that brings
 * `before` nearest to `after`.
 *
 * Least squares, exactly: the correlations of the block by block products are those of the whole
 * stretch (no window blurs them), and the Toeplitz equations that they make are solved by conjugate
 * gradients, with the inverse of the smoothed spectrum (Bartlett lag window, so that it stays
 * positive) as a circulant preconditioner. Since frames at the ends of the stretch have part of
 * their past outside of it the equations are a little off; solving again for what is left over
 * converges from there, surely: the matrix is that of the whole signal that is heard, ends
 * included, and so not less than the true one. A floor of -110 dB re the largest bin keeps gaps of
 * the spectrum out. Sources: Chan, "An optimal circulant preconditioner for Toeplitz systems",
 * 1988, for the idea; the rest is ours.
 *
 * A block is PLANISH_FIT_BLOCK units; its sound begins PLANISH_FIT_BEFORE units ahead of the core.
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_LINEAR_TIER_H
#define PLANISH_HARNESS_LINEAR_TIER_H

#include "harness/distortion/fit_plans.h"

typedef struct PlanishLinearTier PlanishLinearTier;

/* `plans` must outlive it. NULL without memory. */
PlanishLinearTier *planish_linear_tier_new(const PlanishFitPlans *plans);
/* NULL is allowed. */
void planish_linear_tier_free(PlanishLinearTier *tier);

/* No filter at all, and nothing known. */
void planish_linear_tier_reset(PlanishLinearTier *tier);

/* `before`: spectrum of a block; `core`: of the same block with all but its core silent. Over the
 * whole of what is heard, once. */
void planish_linear_tier_learn(PlanishLinearTier *tier, const PlanishPair *before,
                               const PlanishPair *core);

/* `rest`: spectrum of what the block's core still lacks, silent beside it. */
void planish_linear_tier_miss(PlanishLinearTier *tier, const PlanishPair *before,
                              const PlanishPair *rest);

/* Spectrum of the filtered block, which may not be `before`; right in the core and its margins once
 * transformed back and divided by the block's length. */
void planish_linear_tier_apply(const PlanishLinearTier *tier, const PlanishPair *before,
                               PlanishPair *after);

/* Moves the filters by what was missed, which is then forgotten. `rest`: the sum of its squares;
 * returns by how much that will fall. */
double planish_linear_tier_solve(PlanishLinearTier *tier, double rest, double whole);

/* Goes on by a share, 0..1, of the way from one solution to the next: passes that are pushed
 * (Nesterov 1983) close in on what is nearly linear in far fewer. */
void planish_linear_tier_push(PlanishLinearTier *tier, double share);

#endif
