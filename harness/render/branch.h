/* Where a parallel branch leaves the chain and comes back.
 *
 * What the branch takes goes to its stages; what came along the main path waits until their result
 * for the same frames is there, and the two are added: out = main + gain * result, or + gain *
 * (result - taken). With neutral stages, `take: stereo` and 0 dB the sum is exactly twice what
 * came.
 *
 * Each block is taken, then added, with as many frames; `add` may be called in pieces. Sums in
 * double. The level glides over 20 ms. Thread: one at a time a branch; set_level, take and add are
 * real-time safe. */
#ifndef PLANISH_HARNESS_BRANCH_H
#define PLANISH_HARNESS_BRANCH_H

#include "harness/base/error.h"
#include "harness/sheet/branch_controls.h"

#include <stdint.h>

typedef struct PlanishBranch PlanishBranch;

/* `values`: those of its controls (branch_controls.h). `latency`: of its stages, in frames.
 * `block`: the most frames that are taken at once. NULL without memory. */
PlanishBranch *planish_branch_new(double rate, const float *values, uint32_t latency,
                                  uint32_t block, PlanishError *error);
/* NULL is allowed. */
void planish_branch_free(PlanishBranch *branch);

/* dB; from the next frame that is added on. */
void planish_branch_set_level(PlanishBranch *branch, float level);

/* What the branch's stages get. `taken` is none of `in`. */
void planish_branch_take(PlanishBranch *branch, float *const in[2], float *const taken[2],
                         uint32_t frames);

/* The next frames of the sum. `out` may be `result`. */
void planish_branch_add(PlanishBranch *branch, float *const result[2], float *const out[2],
                        uint32_t frames);

#endif
