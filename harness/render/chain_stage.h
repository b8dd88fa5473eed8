/* One stage of a chain as it runs: its plugin, how its controls move, what it reports. For chain.c
 * alone.
 *
 * `offset` is the frame of the stage, counted from its activation, with which the mix's first frame
 * comes to it; `at` the frame of the stage that comes next. Thread: that of the host for start and
 * stop; then one at a time. */
#ifndef PLANISH_HARNESS_CHAIN_STAGE_H
#define PLANISH_HARNESS_CHAIN_STAGE_H

#include "harness/host/instance.h"
#include "harness/render/automation.h"
#include "harness/render/branch.h"
#include "harness/render/chain.h"

typedef struct {
  PlanishInstance *instance; /* NULL: sound passes it by, or it is a branch */
  PlanishBranch *branch;     /* NULL: it is none, or sound passes it by */
  uint32_t latency;          /* of a branch: of its stages */
  PlanishMoves moves;
  PlanishReport *reports;
  uint32_t report_count;
} PlanishChainStage;

/* A plugin at the sheet's values, activated; its latency is known then. After a failure, too,
 * stop() gives everything back. */
bool planish_chain_stage_start(PlanishChainStage *stage, const PlanishSheet *sheet, uint32_t index,
                               double rate, PlanishError *error);
/* A branch whose stages have been started, with `latency` frames in all. */
bool planish_chain_stage_start_branch(PlanishChainStage *stage, const PlanishSheet *sheet,
                                      uint32_t index, double rate, uint32_t latency,
                                      PlanishError *error);
void planish_chain_stage_stop(PlanishChainStage *stage);

/* Runs the plugin, in pieces where its controls move. `in` is not `out`. Fails where its latency
 * changed or it puts out what is no number. */
bool planish_chain_stage_run(PlanishChainStage *stage, const PlanishSheetStage *listed,
                             int64_t offset, uint64_t at, float *const in[2], float *const out[2],
                             uint32_t frames, PlanishError *error);

/* Adds a branch's result, in pieces where its level moves: planish_branch_add(). */
void planish_chain_stage_add(PlanishChainStage *stage, int64_t offset, uint64_t at,
                             float *const result[2], float *const out[2], uint32_t frames);

#endif
