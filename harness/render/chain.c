#include "harness/render/chain.h"

#include "harness/base/level.h"
#include "harness/render/chain_stage.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef float Buffers[2][PLANISH_CHAIN_BLOCK];

/* A stage or branch, and what is measured around it. */
typedef struct {
  PlanishChainStage run;
  const PlanishLevel *in; /* that of what comes before it */
  PlanishLevel *out;
  PlanishLevel *taken; /* of a branch: of what goes into it */
  Buffers *buffers;    /* of a branch: what goes into it, and the sum */
} Stage;

struct PlanishChain {
  const PlanishSheet *sheet;
  Stage *stages;
  PlanishLevel *input;
  PlanishChainPart part;
  uint32_t latency;
  double rate;
  uint64_t at;  /* frames run so far */
  int64_t zero; /* with which the mix's first comes in */
  uint64_t first;
  uint64_t frames;
  PlanishTaps taps;
  PlanishTap record;
  uint32_t record_boundary;
  Buffers buffers[2]; /* from one stage to the next, never in place */
};

/* The stages of one path that are run: from an index up to another. */
typedef struct {
  uint32_t from;
  uint32_t to;
  uint32_t depth;
} Path;

/* A block on its way through a path, `delay` frames behind the chain's input. */
typedef struct {
  float *audio[2];
  uint32_t frames;
  uint32_t delay;
} Block;

static Path main_path(const PlanishChain *chain)
{
  return (Path){chain->part.first, chain->sheet->stage_count, 0};
}

static Path branch_path(const PlanishChain *chain, uint32_t branch)
{
  const PlanishSheetStage *listed = &chain->sheet->stages[branch];
  return (Path){listed->first, branch, listed->depth + 1};
}

static bool is_passed_by(const PlanishChain *chain, uint32_t stage)
{
  return chain->part.without != NULL && chain->part.without[stage];
}

static bool start_level(PlanishLevel **level, double rate, PlanishError *error)
{
  *level = planish_level_new(rate);
  return *level != NULL || planish_fail_memory(error);
}

static bool start_path(PlanishChain *chain, const Path *path, const PlanishLevel *in,
                       uint32_t *latency, PlanishError *error);

static bool start_branch(PlanishChain *chain, uint32_t n, PlanishError *error)
{
  Stage *stage = &chain->stages[n];
  const Path path = branch_path(chain, n);
  uint32_t latency = 0;
  stage->buffers = calloc(2, sizeof *stage->buffers);
  if (stage->buffers == NULL) {
    return planish_fail_memory(error);
  }
  return start_level(&stage->taken, chain->rate, error) &&
         start_path(chain, &path, stage->taken, &latency, error) &&
         planish_chain_stage_start_branch(&stage->run, chain->sheet, n, chain->rate, latency,
                                          error);
}

static bool start_stage(PlanishChain *chain, uint32_t n, PlanishError *error)
{
  if (is_passed_by(chain, n)) {
    return true;
  }
  return planish_sheet_is_branch(&chain->sheet->stages[n])
             ? start_branch(chain, n, error)
             : planish_chain_stage_start(&chain->stages[n].run, chain->sheet, n, chain->rate,
                                         error);
}

static bool start_path(PlanishChain *chain, const Path *path, const PlanishLevel *in,
                       uint32_t *latency, PlanishError *error)
{
  const PlanishSheet *sheet = chain->sheet;
  for (uint32_t n = planish_sheet_next(sheet, path->from, path->depth); n < path->to;
       n = planish_sheet_next(sheet, n + 1, path->depth)) {
    Stage *stage = &chain->stages[n];
    stage->in = in;
    if (!start_level(&stage->out, chain->rate, error) || !start_stage(chain, n, error)) {
      return false;
    }
    in = stage->out;
    *latency += stage->run.latency;
  }
  return true;
}

static bool start(PlanishChain *chain, PlanishError *error)
{
  const Path path = main_path(chain);
  chain->stages = calloc((size_t)chain->sheet->stage_count + 1, sizeof *chain->stages);
  if (chain->stages == NULL) {
    return planish_fail_memory(error);
  }
  chain->latency = chain->part.latency;
  return start_level(&chain->input, chain->rate, error) &&
         start_path(chain, &path, chain->input, &chain->latency, error);
}

PlanishChain *planish_chain_new(const PlanishSheet *sheet, double rate,
                                const PlanishChainPart *part, PlanishError *error)
{
  PlanishChain *chain = calloc(1, sizeof *chain);
  if (chain == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  chain->sheet = sheet;
  chain->rate = rate;
  if (part != NULL) {
    chain->part = *part;
  }
  chain->frames = UINT64_MAX;
  if (!start(chain, error)) {
    planish_chain_free(chain);
    return NULL;
  }
  return chain;
}

void planish_chain_free(PlanishChain *chain)
{
  if (chain == NULL) {
    return;
  }
  for (uint32_t n = 0; chain->stages != NULL && n < chain->sheet->stage_count; ++n) {
    Stage *stage = &chain->stages[n];
    planish_chain_stage_stop(&stage->run);
    planish_level_free(stage->out);
    planish_level_free(stage->taken);
    free(stage->buffers);
  }
  planish_level_free(chain->input);
  free(chain->stages);
  free(chain);
}

uint32_t planish_chain_latency(const PlanishChain *chain)
{
  return chain->latency;
}

uint32_t planish_chain_latency_before(const PlanishChain *chain, uint32_t stage)
{
  uint32_t latency = chain->part.latency;
  for (uint32_t n = chain->part.first; n < stage; ++n) {
    latency += chain->sheet->stages[n].depth == 0 ? chain->stages[n].run.latency : 0;
  }
  return latency;
}

double planish_chain_settles(const PlanishSheet *sheet)
{
  double settles = 0.0;
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    settles = fmax(settles, sheet->stages[n].plugin->settles);
  }
  return settles;
}

void planish_chain_observe(PlanishChain *chain, uint64_t first, uint64_t frames,
                           const PlanishTaps *taps)
{
  chain->first = first;
  chain->frames = frames;
  if (taps != NULL) {
    chain->taps = *taps;
  }
}

void planish_chain_locate(PlanishChain *chain, int64_t zero)
{
  chain->zero = zero;
}

void planish_chain_record(PlanishChain *chain, uint32_t boundary, PlanishTap tap)
{
  chain->record_boundary = boundary;
  chain->record = tap;
}

/* The part of this block that the account is about, `delay` frames behind the chain's input. */
static void observed_part(const PlanishChain *chain, uint32_t delay, uint32_t frames,
                          uint32_t *from, uint32_t *to)
{
  const uint64_t first = chain->first + delay;
  const uint64_t end = chain->frames > UINT64_MAX - first ? UINT64_MAX : first + chain->frames;
  *from = first <= chain->at
              ? 0
              : (first - chain->at < frames ? (uint32_t)(first - chain->at) : frames);
  *to = end <= chain->at ? 0 : (end - chain->at < frames ? (uint32_t)(end - chain->at) : frames);
  *to = *to < *from ? *from : *to;
}

static void observe_reports(const PlanishChain *chain, uint32_t index, const Block *block)
{
  const PlanishChainStage *stage = &chain->stages[index].run;
  uint32_t from;
  uint32_t to;
  observed_part(chain, block->delay, block->frames, &from, &to);
  for (uint32_t n = 0; to > from && n < stage->report_count; ++n) {
    PlanishReport *report = &stage->reports[n];
    const float value = planish_instance_get_at(stage->instance, report->port);
    if (!isfinite(value)) {
      continue;
    }
    report->lowest = fminf(report->lowest, value);
    report->highest = fmaxf(report->highest, value);
    report->last = value;
    report->sum += (double)value * (to - from);
    report->frames += to - from;
    if (chain->taps.values != NULL) {
      const PlanishReported reported = {
          .stage = index,
          .port = report->port,
          .first = chain->at + from - block->delay - chain->first,
          .frames = to - from,
          .value = value,
      };
      chain->taps.values(chain->taps.values_user, &reported);
    }
  }
}

static bool hand_on(const PlanishTap *tap, float *const audio[2], uint32_t from, uint32_t to,
                    PlanishError *error)
{
  float interleaved[2 * PLANISH_CHAIN_BLOCK];
  for (uint32_t n = from; n < to; ++n) {
    interleaved[2 * (size_t)(n - from)] = audio[0][n];
    interleaved[2 * (size_t)(n - from) + 1] = audio[1][n];
  }
  return tap->take(tap->user, interleaved, to - from, error);
}

static void observe_level(const PlanishChain *chain, PlanishLevel *level, const Block *block)
{
  uint32_t from;
  uint32_t to;
  observed_part(chain, block->delay, block->frames, &from, &to);
  planish_level_process(level, block->audio[0] + from, block->audio[1] + from, to - from);
}

static bool observe_boundary(PlanishChain *chain, uint32_t boundary, const Block *block,
                             PlanishError *error)
{
  const PlanishTap *listener = chain->taps.sound == NULL ? NULL : &chain->taps.sound[boundary];
  uint32_t from;
  uint32_t to;
  observed_part(chain, block->delay, block->frames, &from, &to);
  if (boundary == chain->record_boundary && chain->record.take != NULL &&
      !hand_on(&chain->record, block->audio, 0, block->frames, error)) {
    return false;
  }
  return listener == NULL || listener->take == NULL || from == to ||
         hand_on(listener, block->audio, from, to, error);
}

static void point_to(Block *block, Buffers *buffers)
{
  block->audio[0] = (*buffers)[0];
  block->audio[1] = (*buffers)[1];
}

static bool run_path(PlanishChain *chain, const Path *path, Block *block, PlanishError *error);

/* The buffers that stages use between them are free for those of the branch: what waits on the main
 * path is kept by PlanishBranch. */
static bool run_branch(PlanishChain *chain, uint32_t n, Block *block, PlanishError *error)
{
  Stage *stage = &chain->stages[n];
  const Path path = branch_path(chain, n);
  Block inner = *block;
  point_to(&inner, &stage->buffers[0]);
  planish_branch_take(stage->run.branch, block->audio, inner.audio, block->frames);
  observe_level(chain, stage->taken, &inner);
  if (!run_path(chain, &path, &inner, error)) {
    return false;
  }
  block->delay = inner.delay;
  point_to(block, &stage->buffers[1]);
  planish_chain_stage_add(&stage->run, chain->zero + block->delay, chain->at, inner.audio,
                          block->audio, block->frames);
  return true;
}

/* One stage; the block is then what came out of it. */
static bool run_stage(PlanishChain *chain, uint32_t n, Block *block, PlanishError *error)
{
  PlanishChainStage *stage = &chain->stages[n].run;
  if (stage->branch != NULL) {
    return run_branch(chain, n, block, error);
  }
  const Block before = *block;
  point_to(block, &chain->buffers[n % 2]);
  block->delay += stage->latency;
  if (stage->instance == NULL) {
    memcpy(block->audio[0], before.audio[0], before.frames * sizeof(float));
    memcpy(block->audio[1], before.audio[1], before.frames * sizeof(float));
    return true;
  }
  const PlanishChainPlace place = {
      .zero = chain->zero + before.delay,
      .start = chain->first + before.delay,
      .at = chain->at,
  };
  return planish_chain_stage_run(stage, &chain->sheet->stages[n], place, before.audio, block->audio,
                                 before.frames, error);
}

static bool run_path(PlanishChain *chain, const Path *path, Block *block, PlanishError *error)
{
  const PlanishSheet *sheet = chain->sheet;
  for (uint32_t n = planish_sheet_next(sheet, path->from, path->depth); n < path->to;
       n = planish_sheet_next(sheet, n + 1, path->depth)) {
    if (!run_stage(chain, n, block, error)) {
      return false;
    }
    observe_level(chain, chain->stages[n].out, block);
    if (!observe_boundary(chain, n + 1, block, error)) {
      return false;
    }
    observe_reports(chain, n, block);
  }
  return true;
}

bool planish_chain_run(PlanishChain *chain, float *left, float *right, uint32_t frames,
                       PlanishError *error)
{
  const Path path = main_path(chain);
  Block block = {{left, right}, frames, chain->part.latency};
  observe_level(chain, chain->input, &block);
  if (!observe_boundary(chain, chain->part.first, &block, error) ||
      !run_path(chain, &path, &block, error)) {
    return false;
  }
  if (block.audio[0] != left) {
    memcpy(left, block.audio[0], frames * sizeof *left);
    memcpy(right, block.audio[1], frames * sizeof *right);
  }
  chain->at += frames;
  return true;
}

bool planish_account_copy(PlanishAccount *to, const PlanishAccount *from, PlanishError *error)
{
  PlanishReport *reports = realloc(to->reports, ((size_t)from->report_count + 1) * sizeof *reports);
  if (reports == NULL) {
    return planish_fail_memory(error);
  }
  if (from->report_count > 0) {
    memcpy(reports, from->reports, from->report_count * sizeof *reports);
  }
  *to = *from;
  to->reports = reports;
  return true;
}

bool planish_chain_account(const PlanishChain *chain, PlanishAccount *accounts, PlanishError *error)
{
  bool done = true;
  for (uint32_t n = chain->part.first; done && n < chain->sheet->stage_count; ++n) {
    const Stage *stage = &chain->stages[n];
    const PlanishAccount account = {
        .loudness_in = stage->in == NULL ? -HUGE_VAL : planish_level_loudness(stage->in),
        .loudness_out = stage->in == NULL ? -HUGE_VAL : planish_level_loudness(stage->out),
        .sample_peak_in = stage->in == NULL ? -HUGE_VAL : planish_level_sample_peak(stage->in),
        .sample_peak_out = stage->in == NULL ? -HUGE_VAL : planish_level_sample_peak(stage->out),
        .latency = stage->run.latency,
        .reports = stage->run.reports,
        .report_count = stage->run.report_count,
    };
    done = planish_account_copy(&accounts[n], &account, error);
  }
  return done;
}

void planish_accounts_free(PlanishAccount *accounts, uint32_t count)
{
  for (uint32_t n = 0; accounts != NULL && n < count; ++n) {
    free(accounts[n].reports);
  }
  free(accounts);
}
