/* Stages in series, as a sheet lists them and moves them, branches beside them, with an account of
 * what each did.
 *
 * A chain is run once, from its start to its end: a new one for each render. It is run in steps:
 * its input, then each stage or branch of the main path. Each step takes all blocks in order, and
 * works on what the step ahead has left in the block.
 * Errors: PLANISH_BAD_USE, naming the stage. Thread: that of the host for new and free; for run
 * any, one at a time a step, different steps with different blocks at once; then one at a time. */
#ifndef PLANISH_HARNESS_CHAIN_H
#define PLANISH_HARNESS_CHAIN_H

#include "harness/base/error.h"
#include "harness/render/tap.h"
#include "harness/sheet/sheet.h"

#include <stdint.h>

#define PLANISH_CHAIN_BLOCK 1024 /* frames, at most, in a run */

/* Some frames on their way through a chain. Whoever feeds it fills the first three. */
typedef struct {
  uint64_t at; /* the first frame, counted at the chain's input; as many as came before */
  uint32_t frames;
  float audio[2][2][PLANISH_CHAIN_BLOCK]; /* fed to the first of the pair; then one of them holds
                                             the sound, and a stage fills the other */
  uint32_t holds;                         /* which of the two */
  uint32_t delay;                         /* behind the chain's input, frames */
} PlanishChainBlock;

/* What a value that a stage reports was, looked at after each block, but for those that say that
 * there is no reading (plugin.h). */
typedef struct {
  uint32_t port; /* index */
  float lowest;
  float highest;
  float last;
  double sum;      /* weighted with frames */
  uint64_t frames; /* 0: there never was a reading */
} PlanishReport;

/* What there is to tell of a stage. */
typedef struct {
  double loudness_in; /* LUFS, integrated; -HUGE_VAL for silence */
  double loudness_out;
  double sample_peak_in; /* dBFS */
  double sample_peak_out;
  uint32_t latency; /* frames; of a branch: what its stages add up to, and the main path waits */
  PlanishReport *reports;
  uint32_t report_count;
  double seconds; /* of processor time, what is measured on it included; those of a branch's stages
                     are the branch's. Filled by the renderer */
} PlanishAccount;

typedef struct PlanishChain PlanishChain;

/* Which stages of the sheet are run. */
typedef struct {
  uint32_t first;      /* stages before this one are not: what is fed is their result, ...; by
                          index, that of the main path's next stage, or the first of its branch */
  uint32_t latency;    /* ... so many frames late */
  const bool *without; /* by stage: sound passes it by, without latency; a branch is left out with
                          all that stands in it; NULL: none. Must outlive the chain */
} PlanishChainPart;

/* `sheet` must outlive it; its values are those of now. `part` may be NULL: all stages. */
PlanishChain *planish_chain_new(const PlanishSheet *sheet, double rate,
                                const PlanishChainPart *part, PlanishError *error);
/* NULL is allowed. */
void planish_chain_free(PlanishChain *chain);

/* The sum of all stages' latencies, in frames: known from new on, and constant. */
uint32_t planish_chain_latency(const PlanishChain *chain);

/* That of the stages ahead of one on the main path, or of a branch's first. */
uint32_t planish_chain_latency_before(const PlanishChain *chain, uint32_t stage);

/* The largest `settles` of the stages, in s. */
double planish_chain_settles(const PlanishSheet *sheet);

/* What the account and the taps are about: `frames` frames from `first` on, counted at the chain's
 * input. What stages measure starts anew there (urn:planish:vocabulary#restarts). `taps` may be
 * NULL; its list of sounds must outlive the chain. To be called before the first run. */
void planish_chain_observe(PlanishChain *chain, uint64_t first, uint64_t frames,
                           const PlanishTaps *taps);

/* Where in the chain's frames the mix's first frame comes in, for automation (automation.h); under
 * 0 where the chain begins later in the mix. 0 unless said. To be called before the first run. */
void planish_chain_locate(PlanishChain *chain, int64_t zero);

/* Hands on everything that comes to a boundary, pre-roll and latency included. To be called before
 * the first run. */
void planish_chain_record(PlanishChain *chain, uint32_t boundary, PlanishTap tap);

/* How many steps the chain has, at least 1. */
uint32_t planish_chain_steps(const PlanishChain *chain);

/* The stage or branch that a step is, by index; UINT32_MAX: the input. */
uint32_t planish_chain_step_stage(const PlanishChain *chain, uint32_t step);

/* One step of one block: after the last one it holds the chain's output. Fails where a stage's
 * latency changes, it puts out what is no number, or a tap fails. */
bool planish_chain_run(PlanishChain *chain, uint32_t step, PlanishChainBlock *block,
                       PlanishError *error);

/* After the last run. Fills `accounts`, one a stage, of those that were run;
 * planish_accounts_free() gives them back.
 */
bool planish_chain_account(const PlanishChain *chain, PlanishAccount *accounts,
                           PlanishError *error);
/* `to` holds an account, or is zeroed. */
bool planish_account_copy(PlanishAccount *to, const PlanishAccount *from, PlanishError *error);
void planish_accounts_free(PlanishAccount *accounts, uint32_t count);

#endif
