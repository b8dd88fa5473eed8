/* A stream of blocks through a row of steps, on as many processors as there are.
 *
 * Every block goes through all steps in order, and every step takes the blocks in order, one at a
 * time: what comes out does not depend on how many threads there are. A step may run on another
 * thread from one block to the next; all that the earlier calls wrote, its own and those of the
 * steps ahead for the same block, is seen there.
 *
 * Threads are not bound to steps. Each takes the step nearest to the end that has something to do,
 * so that dear steps need not be known ahead, and blocks do not pile up.
 *
 * What is failed at first, in the order of blocks, is what would have failed without threads: steps
 * behind it still get every block ahead of it, and none that follows.
 *
 * Errors: those of the work; PLANISH_INTERRUPTED where the program is asked to end; no memory.
 * Thread: main, which does its share of the work; told there, too. */
#ifndef PLANISH_HARNESS_PIPELINE_H
#define PLANISH_HARNESS_PIPELINE_H

#include "harness/base/error.h"

#include <stddef.h>
#include <stdint.h>

/* At most so many blocks are on their way at once: block n may use what block n -
 * PLANISH_PIPELINE_DEPTH has used, and no other's. */
#define PLANISH_PIPELINE_DEPTH 64

typedef struct {
  uint64_t blocks;
  size_t steps; /* > 0 */
  /* Does one step of one block. False, with `error` filled: nothing follows. */
  bool (*work)(void *user, size_t step, uint64_t block, PlanishError *error);
  void *user;
  void (*told)(void *user, double share); /* how much of all is done; may be NULL */
  void *told_user;
  double *seconds; /* by step: gets the processor time that it took; NULL: not asked for */
} PlanishPipeline;

bool planish_pipeline_run(const PlanishPipeline *pipeline, PlanishError *error);

#endif
