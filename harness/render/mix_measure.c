#include "harness/render/mix_measure.h"

#include "harness/base/pipeline.h"

#include <stdlib.h>

enum { BLOCK = 1024 };

/* Two steps: one reads, the other measures. */
typedef struct {
  PlanishReader *mix;
  PlanishMeasure *measure;
  bool mono;
  uint64_t frames;
  float (*blocks)[2 * BLOCK]; /* a ring */
} MixMeasure;

static size_t frames_of(const MixMeasure *work, uint64_t block)
{
  const uint64_t left = work->frames - block * BLOCK;
  return left < BLOCK ? (size_t)left : BLOCK;
}

static bool read_block(const MixMeasure *work, float *block, size_t frames, PlanishError *error)
{
  size_t got = 0;
  if (!planish_reader_read(work->mix, block, frames, &got, error)) {
    return false;
  }
  for (size_t n = 0; n < got && work->mono; ++n) {
    block[n] = block[2 * n];
  }
  return true;
}

static bool do_step(void *user, size_t step, uint64_t number, PlanishError *error)
{
  const MixMeasure *work = user;
  float *block = work->blocks[number % PLANISH_PIPELINE_DEPTH];
  const size_t frames = frames_of(work, number);
  if (step == 0) {
    return read_block(work, block, frames, error);
  }
  planish_measure_process(work->measure, block, frames);
  return true;
}

static bool measure(MixMeasure *work, const PlanishMixMeasureJob *job, PlanishError *error)
{
  const PlanishPipeline pipeline = {.blocks = (work->frames + BLOCK - 1) / BLOCK,
                                    .steps = 2,
                                    .work = do_step,
                                    .user = work,
                                    .told = job->told,
                                    .told_user = job->told_user};
  return work->measure != NULL && work->blocks != NULL
             ? planish_reader_seek(job->mix, job->from, error) &&
                   planish_pipeline_run(&pipeline, error)
             : planish_fail_memory(error);
}

bool planish_mix_measure(const PlanishMixMeasureJob *job, PlanishMeasurement *result,
                         PlanishError *error)
{
  const bool mono = planish_reader_channels(job->mix) == 1;
  MixMeasure work = {
      .mix = job->mix,
      .measure = planish_measure_new(planish_reader_rate(job->mix), mono ? 1 : 2),
      .mono = mono,
      .frames = job->to - job->from,
      .blocks = malloc(PLANISH_PIPELINE_DEPTH * sizeof *work.blocks),
  };
  const bool done = measure(&work, job, error);
  if (done) {
    planish_measure_finish(work.measure, result);
  }
  planish_measure_free(work.measure);
  free(work.blocks);
  return done;
}
