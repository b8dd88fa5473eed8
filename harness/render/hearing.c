#include "harness/render/hearing.h"

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
} Hearing;

static size_t frames_of(const Hearing *hearing, uint64_t block)
{
  const uint64_t left = hearing->frames - block * BLOCK;
  return left < BLOCK ? (size_t)left : BLOCK;
}

static bool read_block(const Hearing *hearing, float *block, size_t frames, PlanishError *error)
{
  size_t got = 0;
  if (!planish_reader_read(hearing->mix, block, frames, &got, error)) {
    return false;
  }
  for (size_t n = 0; n < got && hearing->mono; ++n) {
    block[n] = block[2 * n];
  }
  return true;
}

static bool do_step(void *user, size_t step, uint64_t number, PlanishError *error)
{
  const Hearing *hearing = user;
  float *block = hearing->blocks[number % PLANISH_PIPELINE_DEPTH];
  const size_t frames = frames_of(hearing, number);
  if (step == 0) {
    return read_block(hearing, block, frames, error);
  }
  planish_measure_process(hearing->measure, block, frames);
  return true;
}

static bool hear(Hearing *hearing, const PlanishHearingJob *job, PlanishError *error)
{
  const PlanishPipeline pipeline = {.blocks = (hearing->frames + BLOCK - 1) / BLOCK,
                                    .steps = 2,
                                    .work = do_step,
                                    .user = hearing,
                                    .told = job->told,
                                    .told_user = job->told_user};
  return hearing->measure != NULL && hearing->blocks != NULL
             ? planish_reader_seek(job->mix, job->from, error) &&
                   planish_pipeline_run(&pipeline, error)
             : planish_fail_memory(error);
}

bool planish_hearing_measure(const PlanishHearingJob *job, PlanishMeasurement *result,
                             PlanishError *error)
{
  const bool mono = planish_reader_channels(job->mix) == 1;
  Hearing hearing = {
      .mix = job->mix,
      .measure = planish_measure_new(planish_reader_rate(job->mix), mono ? 1 : 2),
      .mono = mono,
      .frames = job->to - job->from,
      .blocks = malloc(PLANISH_PIPELINE_DEPTH * sizeof *hearing.blocks),
  };
  const bool done = hear(&hearing, job, error);
  if (done) {
    planish_measure_finish(hearing.measure, result);
  }
  planish_measure_free(hearing.measure);
  free(hearing.blocks);
  return done;
}
