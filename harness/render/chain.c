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
  Buffers *into;       /* of a branch: what goes into it */
} Stage;

struct PlanishChain {
  const PlanishSheet *sheet;
  Stage *stages;
  uint32_t *steps; /* the main path's stages and branches, by index */
  uint32_t step_count;
  PlanishLevel *input;
  PlanishChainPart part;
  uint32_t latency;
  double rate;
  int64_t zero; /* frame with which the mix's first comes in */
  uint64_t first;
  uint64_t frames;
  PlanishTaps taps;
  PlanishTap record;
  uint32_t record_boundary;
};

/* The stages of one path that are run: from an index up to another. */
typedef struct {
  uint32_t from;
  uint32_t to;
  uint32_t depth;
} Path;

/* A block on its way through a path. Stages never work in place: what comes from one of the two
 * buffers goes to the other. */
typedef struct {
  float *audio[2];
  uint32_t frames;
  uint32_t delay; /* behind the chain's input, frames */
  uint64_t at;
  Buffers *buffers;
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
  stage->into = calloc(1, sizeof *stage->into);
  if (stage->into == NULL) {
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

static void list_steps(PlanishChain *chain, const Path *path)
{
  for (uint32_t n = planish_sheet_next(chain->sheet, path->from, path->depth); n < path->to;
       n = planish_sheet_next(chain->sheet, n + 1, path->depth)) {
    chain->steps[chain->step_count++] = n;
  }
}

static bool start(PlanishChain *chain, PlanishError *error)
{
  const Path path = main_path(chain);
  const size_t count = (size_t)chain->sheet->stage_count + 1;
  chain->stages = calloc(count, sizeof *chain->stages);
  chain->steps = calloc(count, sizeof *chain->steps);
  if (chain->stages == NULL || chain->steps == NULL) {
    return planish_fail_memory(error);
  }
  list_steps(chain, &path);
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
    free(stage->into);
  }
  planish_level_free(chain->input);
  free(chain->steps);
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

/* How many of `frames` frames from `at` on lie ahead of `place`. */
static uint32_t ahead_of(uint64_t place, uint64_t at, uint32_t frames)
{
  return place <= at ? 0 : (place - at < frames ? (uint32_t)(place - at) : frames);
}

/* The part of this block that the account is about. */
static void observed_part(const PlanishChain *chain, const Block *block, uint32_t *from,
                          uint32_t *to)
{
  const uint64_t first = chain->first + block->delay;
  const uint64_t end = chain->frames > UINT64_MAX - first ? UINT64_MAX : first + chain->frames;
  *from = ahead_of(first, block->at, block->frames);
  *to = ahead_of(end, block->at, block->frames);
  *to = *to < *from ? *from : *to;
}

static void observe_reports(const PlanishChain *chain, uint32_t index, const Block *block)
{
  const PlanishChainStage *stage = &chain->stages[index].run;
  const PlanishPlugin *plugin = chain->sheet->stages[index].plugin;
  uint32_t from;
  uint32_t to;
  observed_part(chain, block, &from, &to);
  for (uint32_t n = 0; to > from && n < stage->report_count; ++n) {
    PlanishReport *report = &stage->reports[n];
    const float value = planish_instance_get_at(stage->instance, report->port);
    if (!isfinite(value) || value == plugin->ports[report->port].no_reading) {
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
          .first = block->at + from - block->delay - chain->first,
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
  observed_part(chain, block, &from, &to);
  planish_level_process(level, block->audio[0] + from, block->audio[1] + from, to - from);
}

static bool observe_boundary(PlanishChain *chain, uint32_t boundary, const Block *block,
                             PlanishError *error)
{
  const PlanishTap *listener = chain->taps.sound == NULL ? NULL : &chain->taps.sound[boundary];
  uint32_t from;
  uint32_t to;
  observed_part(chain, block, &from, &to);
  if (boundary == chain->record_boundary && chain->record.take != NULL &&
      !hand_on(&chain->record, block->audio, 0, block->frames, error)) {
    return false;
  }
  return listener == NULL || listener->take == NULL || from == to ||
         hand_on(listener, block->audio, from, to, error);
}

/* To the buffer that the sound is not in. */
static void point_to_other(Block *block)
{
  const uint32_t other = block->audio[0] == block->buffers[0][0] ? 1 : 0;
  block->audio[0] = block->buffers[other][0];
  block->audio[1] = block->buffers[other][1];
}

static bool run_path(PlanishChain *chain, const Path *path, Block *block, PlanishError *error);

/* Both buffers are free for the branch's stages: what waits on the main path is kept by
 * PlanishBranch. */
static bool run_branch(PlanishChain *chain, uint32_t n, Block *block, PlanishError *error)
{
  Stage *stage = &chain->stages[n];
  const Path path = branch_path(chain, n);
  Block inner = *block;
  inner.audio[0] = (*stage->into)[0];
  inner.audio[1] = (*stage->into)[1];
  planish_branch_take(stage->run.branch, block->audio, inner.audio, block->frames);
  observe_level(chain, stage->taken, &inner);
  if (!run_path(chain, &path, &inner, error)) {
    return false;
  }
  *block = inner;
  point_to_other(block);
  planish_chain_stage_add(&stage->run, chain->zero + block->delay, block->at, inner.audio,
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
  point_to_other(block);
  block->delay += stage->latency;
  if (stage->instance == NULL) {
    memcpy(block->audio[0], before.audio[0], before.frames * sizeof(float));
    memcpy(block->audio[1], before.audio[1], before.frames * sizeof(float));
    return true;
  }
  const PlanishChainPlace place = {
      .zero = chain->zero + before.delay,
      .start = chain->first + before.delay,
      .at = before.at,
  };
  return planish_chain_stage_run(stage, &chain->sheet->stages[n], place, before.audio, block->audio,
                                 before.frames, error);
}

/* One stage, and what is to be known of it. */
static bool run_and_observe(PlanishChain *chain, uint32_t n, Block *block, PlanishError *error)
{
  if (!run_stage(chain, n, block, error)) {
    return false;
  }
  observe_level(chain, chain->stages[n].out, block);
  if (!observe_boundary(chain, n + 1, block, error)) {
    return false;
  }
  observe_reports(chain, n, block);
  return true;
}

static bool run_path(PlanishChain *chain, const Path *path, Block *block, PlanishError *error)
{
  const PlanishSheet *sheet = chain->sheet;
  bool done = true;
  for (uint32_t n = planish_sheet_next(sheet, path->from, path->depth); done && n < path->to;
       n = planish_sheet_next(sheet, n + 1, path->depth)) {
    done = run_and_observe(chain, n, block, error);
  }
  return done;
}

uint32_t planish_chain_steps(const PlanishChain *chain)
{
  return 1 + chain->step_count;
}

uint32_t planish_chain_step_stage(const PlanishChain *chain, uint32_t step)
{
  return step == 0 ? UINT32_MAX : chain->steps[step - 1];
}

bool planish_chain_run(PlanishChain *chain, uint32_t step, PlanishChainBlock *slot,
                       PlanishError *error)
{
  if (step == 0) {
    slot->holds = 0;
    slot->delay = chain->part.latency;
  }
  Block block = {{slot->audio[slot->holds][0], slot->audio[slot->holds][1]},
                 slot->frames,
                 slot->delay,
                 slot->at,
                 slot->audio};
  if (step == 0) {
    observe_level(chain, chain->input, &block);
    return observe_boundary(chain, chain->part.first, &block, error);
  }
  const bool done = run_and_observe(chain, chain->steps[step - 1], &block, error);
  slot->holds = block.audio[0] == slot->audio[0][0] ? 0 : 1;
  slot->delay = block.delay;
  return done;
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
