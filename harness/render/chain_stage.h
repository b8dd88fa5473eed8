/* One stage of a chain as it runs: its plugin, how its controls move, what it reports. For chain.c
 * alone.
 *
 * Frames of the stage are counted from its activation: `offset` is the one with which the mix's
 * first frame comes to it, `at` the one that comes next. Thread: that of the host for start and
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

typedef struct {
  int64_t zero;   /* with which the mix's first frame comes */
  uint64_t start; /* with which what is observed begins */
  uint64_t at;    /* which comes next */
} PlanishChainPlace;

/* Runs the plugin, in pieces where its controls move. What it measures starts anew right ahead of
 * place.start, unless that is the very beginning, or the sheet moves the trigger. `in` is not
 * `out`. Fails where its latency changed or it puts out what is no number. */
bool planish_chain_stage_run(PlanishChainStage *stage, const PlanishSheetStage *listed,
                             PlanishChainPlace place, float *const in[2], float *const out[2],
                             uint32_t frames, PlanishError *error);

/* Adds a branch's result, in pieces where its level moves: planish_branch_add(). */
void planish_chain_stage_add(PlanishChainStage *stage, int64_t offset, uint64_t at,
                             float *const result[2], float *const out[2], uint32_t frames);

#endif
