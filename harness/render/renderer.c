#include "harness/render/renderer.h"

#include "common/dsp/maths.h"
#include "harness/base/pipeline.h"
#include "harness/render/fades.h"

#include <stdlib.h>
#include <string.h>

/* When what is fed and what is kept, in frames counted from the chain's first. */
typedef struct {
  uint64_t preroll; /* of the mix's beginning come first */
  uint64_t lead;    /* from here on comes the mix, ... */
  uint64_t start;   /* ... from this frame of it on */
  uint64_t skip;    /* of the chain's output are no part of the result */
  uint64_t total;   /* to be fed */
} Plan;

typedef struct {
  PlanishReader *mix;
  PlanishTrack *kept; /* instead of the mix: what the first stages made of it; NULL: none */
  Plan plan;
  double factor;
  uint64_t at; /* fed so far */
} Source;

PlanishReader *planish_mix_open(const char *path, const PlanishSheet *sheet, bool silence_bad,
                                PlanishError *error)
{
  return planish_mix_open_beside(path, sheet, silence_bad, NULL, error);
}

PlanishReader *planish_mix_open_beside(const char *path, const PlanishSheet *sheet,
                                       bool silence_bad, const char *beside, PlanishError *error)
{
  const PlanishReaderOptions options = {
      .silence_bad = silence_bad,
      .mending = sheet->mending,
      .rate = sheet->rate,
      .keep_beside = beside,
  };
  return planish_reader_open(path, &options, error);
}

PlanishReader *planish_mix_open_joined(const char *const *paths, size_t count,
                                       const PlanishSheet *sheet, PlanishError *error)
{
  const PlanishReaderOptions options = {.mending = sheet->mending, .rate = sheet->rate};
  return planish_reader_open_joined(paths, count, &options, error);
}

uint64_t planish_render_head_frames(const PlanishRenderJob *job)
{
  const double rate = planish_reader_rate(job->mix);
  return job->from == 0 ? planish_sheet_frames(job->sheet->head_silence, rate) : 0;
}

static uint64_t tail_of(const PlanishRenderJob *job)
{
  const double rate = planish_reader_rate(job->mix);
  return job->to == planish_reader_frames(job->mix) ? planish_sheet_frames(job->sheet->tail, rate)
                                                    : 0;
}

/* After the tail. */
static uint64_t silence_of(const PlanishRenderJob *job)
{
  const double rate = planish_reader_rate(job->mix);
  return job->to == planish_reader_frames(job->mix)
             ? planish_sheet_frames(job->sheet->tail_silence, rate)
             : 0;
}

uint64_t planish_render_frames(const PlanishRenderJob *job)
{
  return planish_render_head_frames(job) + planish_render_tapped_frames(job) + silence_of(job);
}

uint64_t planish_render_tapped_frames(const PlanishRenderJob *job)
{
  return (job->to - job->from) + tail_of(job);
}

static uint64_t round_up(uint64_t frames)
{
  return (frames + PLANISH_PREROLL_UNIT - 1) / PLANISH_PREROLL_UNIT * PLANISH_PREROLL_UNIT;
}

static Plan make_plan(const PlanishRenderJob *job, uint32_t latency)
{
  const double rate = planish_reader_rate(job->mix);
  const uint64_t mix_frames = planish_reader_frames(job->mix);
  const double settles = planish_chain_settles(job->sheet);
  const double seconds = job->sheet->has_preroll ? job->sheet->preroll : settles;
  Plan plan = {0};
  const uint64_t run_in = round_up((uint64_t)((PLANISH_RUN_IN + settles) * rate));
  if (job->from > run_in) {
    plan.start = (job->from - run_in) / PLANISH_PREROLL_UNIT * PLANISH_PREROLL_UNIT;
  }
  if (plan.start == 0 && seconds > 0.0) {
    plan.preroll = (uint64_t)(seconds * rate + 0.5);
    plan.preroll = plan.preroll < mix_frames ? plan.preroll : mix_frames;
    /* A quarter of a second for tails, more where the unit leaves it. */
    plan.lead = round_up(plan.preroll + latency + (uint64_t)(0.25 * rate));
  }
  plan.skip = plan.lead + (job->from - plan.start) + latency;
  plan.total = plan.skip + planish_render_tapped_frames(job);
  return plan;
}

/* Feeds a piece of the mix from `frame` on, then silence where it has ended. */
static bool feed_mix(Source *source, uint64_t frame, float *interleaved, size_t frames,
                     PlanishError *error)
{
  const uint64_t length = planish_reader_frames(source->mix);
  const uint64_t left = frame < length ? length - frame : 0;
  const size_t wanted = left < frames ? (size_t)left : frames;
  size_t got = 0;
  if (wanted > 0 && !planish_reader_read(source->mix, interleaved, wanted, &got, error)) {
    return false;
  }
  for (size_t n = 0; n < 2 * got && source->factor != 1.0; ++n) {
    interleaved[n] = (float)((double)interleaved[n] * source->factor);
  }
  memset(interleaved + 2 * got, 0, 2 * (frames - got) * sizeof *interleaved);
  return true;
}

/* One stretch of what comes next: pre-roll, silence or mix. */
static bool feed_stretch(Source *source, float *interleaved, size_t *frames, PlanishError *error)
{
  const Plan *plan = &source->plan;
  const uint64_t at = source->at;
  const uint64_t end =
      at < plan->preroll ? plan->preroll : (at < plan->lead ? plan->lead : UINT64_MAX);
  *frames = end - at < *frames ? (size_t)(end - at) : *frames;
  source->at += *frames;
  if (at >= plan->preroll && at < plan->lead) {
    memset(interleaved, 0, 2 * *frames * sizeof *interleaved);
    return true;
  }
  const uint64_t frame = at < plan->lead ? at : at - plan->lead + plan->start;
  if ((at == 0 || at == plan->lead) && !planish_reader_seek(source->mix, frame, error)) {
    return false;
  }
  return feed_mix(source, frame, interleaved, *frames, error);
}

static bool feed(Source *source, float *interleaved, size_t frames, PlanishError *error)
{
  if (source->kept != NULL) {
    source->at += frames;
    return planish_track_read(source->kept, source->at - frames, interleaved, frames, error);
  }
  while (frames > 0) {
    size_t count = frames;
    if (!feed_stretch(source, interleaved, &count, error)) {
      return false;
    }
    interleaved += 2 * count;
    frames -= count;
  }
  return true;
}

/* Where the result goes: its fades, its sink. */
typedef struct {
  PlanishFades fades;
  PlanishSink sink;
  void *user;
  uint64_t at; /* next frame of the mix */
} Ending;

static bool write_silence(const Ending *ending, uint64_t frames, PlanishError *error)
{
  float silence[2 * PLANISH_CHAIN_BLOCK] = {0.0f};
  bool done = true;
  while (done && ending->sink != NULL && frames > 0) {
    const size_t count = frames < PLANISH_CHAIN_BLOCK ? (size_t)frames : PLANISH_CHAIN_BLOCK;
    done = ending->sink(ending->user, silence, count, error);
    frames -= count;
  }
  return done;
}

static bool write_result(Ending *ending, float *interleaved, size_t frames, PlanishError *error)
{
  if (ending->sink == NULL) {
    return true;
  }
  planish_fades_process(&ending->fades, ending->at, interleaved, frames);
  ending->at += frames;
  return ending->sink(ending->user, interleaved, frames, error);
}

/* A render under way: the chain's steps, where the first also reads, and one that writes. */
typedef struct {
  Source *source;
  PlanishChain *chain;
  Ending *ending;
  uint32_t steps;
  PlanishChainBlock *blocks; /* a ring */
} Run;

static bool read_block(const Run *run, PlanishChainBlock *block, PlanishError *error)
{
  float interleaved[2 * PLANISH_CHAIN_BLOCK];
  if (!feed(run->source, interleaved, block->frames, error)) {
    return false;
  }
  for (uint32_t n = 0; n < block->frames; ++n) {
    block->audio[0][0][n] = interleaved[2 * (size_t)n];
    block->audio[0][1][n] = interleaved[2 * (size_t)n + 1];
  }
  return true;
}

static bool write_block(const Run *run, const PlanishChainBlock *block, PlanishError *error)
{
  const uint64_t skip = run->source->plan.skip;
  const uint64_t cut = skip <= block->at ? 0 : skip - block->at;
  const float *const left = block->audio[block->holds][0];
  const float *const right = block->audio[block->holds][1];
  float interleaved[2 * PLANISH_CHAIN_BLOCK];
  for (uint64_t n = cut; n < block->frames; ++n) {
    interleaved[2 * (n - cut)] = left[n];
    interleaved[2 * (n - cut) + 1] = right[n];
  }
  return cut >= block->frames ||
         write_result(run->ending, interleaved, block->frames - (size_t)cut, error);
}

static bool run_step(void *user, size_t step, uint64_t number, PlanishError *error)
{
  const Run *run = user;
  PlanishChainBlock *block = &run->blocks[number % PLANISH_PIPELINE_DEPTH];
  if (step == run->steps) {
    return write_block(run, block, error);
  }
  if (step == 0) {
    const uint64_t at = number * PLANISH_CHAIN_BLOCK;
    const uint64_t left = run->source->plan.total - at;
    block->at = at;
    block->frames = left < PLANISH_CHAIN_BLOCK ? (uint32_t)left : PLANISH_CHAIN_BLOCK;
  }
  return (step > 0 || read_block(run, block, error)) &&
         planish_chain_run(run->chain, (uint32_t)step, block, error);
}

static bool run_all(const PlanishRenderJob *job, Source *source, PlanishChain *chain,
                    Ending *ending, double *seconds, PlanishError *error)
{
  Run run = {.source = source,
             .chain = chain,
             .ending = ending,
             .steps = planish_chain_steps(chain),
             .blocks = malloc(PLANISH_PIPELINE_DEPTH * sizeof(PlanishChainBlock))};
  const PlanishPipeline pipeline = {
      .blocks = (source->plan.total + PLANISH_CHAIN_BLOCK - 1) / PLANISH_CHAIN_BLOCK,
      .steps = run.steps + 1,
      .work = run_step,
      .user = &run,
      .told = job->told,
      .told_user = job->told_user,
      .seconds = seconds,
  };
  const bool done =
      run.blocks != NULL ? planish_pipeline_run(&pipeline, error) : planish_fail_memory(error);
  free(run.blocks);
  return done;
}

static PlanishFeed feed_of(const Plan *plan)
{
  return (PlanishFeed){
      .preroll = plan->preroll, .lead = plan->lead, .start = plan->start, .total = plan->total};
}

/* The chain from the checkpoint on; NULL, which may be no error, where it cannot begin there. */
static PlanishChain *resume(const PlanishRenderJob *job, Source *source, PlanishError *error)
{
  const PlanishCheckpoint *checkpoint = job->checkpoint;
  if (checkpoint == NULL || !checkpoint->filled || job->taps != NULL) {
    return NULL;
  }
  const PlanishChainPart part = {
      .first = checkpoint->stages, .latency = checkpoint->latency, .without = job->without};
  PlanishChain *chain = planish_chain_new(job->sheet, planish_reader_rate(job->mix), &part, error);
  if (chain == NULL) {
    return NULL;
  }
  source->plan = make_plan(job, planish_chain_latency(chain));
  const PlanishFeed wanted = feed_of(&source->plan);
  if (!planish_checkpoint_fits(checkpoint, &wanted)) {
    planish_chain_free(chain);
    return NULL;
  }
  source->kept = checkpoint->track;
  return chain;
}

static PlanishChain *begin(const PlanishRenderJob *job, Source *source, bool *filling,
                           PlanishError *error)
{
  const PlanishChainPart part = {.without = job->without};
  PlanishChain *chain = planish_chain_new(job->sheet, planish_reader_rate(job->mix), &part, error);
  if (chain == NULL) {
    return NULL;
  }
  source->plan = make_plan(job, planish_chain_latency(chain));
  PlanishCheckpoint *checkpoint = job->checkpoint;
  if (checkpoint == NULL || job->without != NULL || job->taps != NULL) {
    return chain;
  }
  const PlanishFeed wanted = feed_of(&source->plan);
  if (!planish_checkpoint_begin(checkpoint, &wanted, error)) {
    planish_chain_free(chain);
    return NULL;
  }
  *filling = checkpoint->track != NULL;
  if (*filling) {
    planish_chain_record(chain, checkpoint->stages,
                         (PlanishTap){planish_track_write, checkpoint->track});
  }
  return chain;
}

static void account_time(const PlanishChain *chain, const double *seconds, PlanishAccount *accounts)
{
  for (uint32_t step = 1; step < planish_chain_steps(chain); ++step) {
    accounts[planish_chain_step_stage(chain, step)].seconds = seconds[step];
  }
}

static bool account(const PlanishRenderJob *job, const Source *source, const PlanishChain *chain,
                    bool filled, const double *seconds, PlanishAccount *accounts,
                    PlanishError *error)
{
  if (!planish_chain_account(chain, accounts, error)) {
    return false;
  }
  account_time(chain, seconds, accounts);
  return (source->kept == NULL || planish_checkpoint_account(job->checkpoint, accounts, error)) &&
         (!filled || planish_checkpoint_finish(
                         job->checkpoint, accounts,
                         planish_chain_latency_before(chain, job->checkpoint->stages), error));
}

/* From the silence ahead to that at the end, and the accounts. */
static bool run_with_silence(const PlanishRenderJob *job, Source *source, PlanishChain *chain,
                             Ending *ending, bool filling, PlanishAccount *accounts,
                             PlanishError *error)
{
  double *seconds = calloc((size_t)planish_chain_steps(chain) + 1, sizeof *seconds);
  if (seconds == NULL) {
    return planish_fail_memory(error);
  }
  const bool done =
      write_silence(ending, planish_render_head_frames(job), error) &&
      run_all(job, source, chain, ending, seconds, error) &&
      write_silence(ending, silence_of(job), error) &&
      (accounts == NULL || account(job, source, chain, filling, seconds, accounts, error));
  free(seconds);
  return done;
}

bool planish_render(const PlanishRenderJob *job, PlanishSink sink, void *user,
                    PlanishAccount *accounts, uint32_t *latency, PlanishError *error)
{
  Ending ending = {.sink = sink, .user = user, .at = job->from};
  if (!planish_fades_new(&ending.fades, job->sheet, planish_reader_rate(job->mix),
                         planish_reader_frames(job->mix), error)) {
    return false;
  }
  Source source = {.mix = job->mix, .factor = planish_gain_of(job->input_gain)};
  bool filling = false;
  PlanishChain *chain = resume(job, &source, error);
  if (chain == NULL && (error == NULL || error->outcome == PLANISH_DONE)) {
    chain = begin(job, &source, &filling, error);
  }
  if (chain == NULL) {
    return false;
  }
  planish_chain_locate(chain, (int64_t)source.plan.lead - (int64_t)source.plan.start);
  planish_chain_observe(chain, source.plan.lead + (job->from - source.plan.start),
                        planish_render_tapped_frames(job), job->taps);
  const bool done = run_with_silence(job, &source, chain, &ending, filling, accounts, error);
  if (latency != NULL) {
    *latency = planish_chain_latency(chain);
  }
  planish_chain_free(chain);
  return done;
}
