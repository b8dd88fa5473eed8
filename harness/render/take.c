#include "harness/render/take.h"

#include "common/dsp/maths.h"
#include "harness/base/interrupt.h"

#include <stdlib.h>

static void measure_written(void *user, const float *interleaved, size_t frames)
{
  planish_measure_process(user, interleaved, frames);
}

static bool write_rendered(void *user, const float *interleaved, size_t frames, PlanishError *error)
{
  return planish_writer_write(user, interleaved, frames, error);
}

static bool render(PlanishTake *take, const PlanishRenderJob *job, PlanishError *error)
{
  return planish_render(job, write_rendered, take->writer, take->accounts, &take->latency, error) &&
         planish_writer_finish(take->writer, error);
}

bool planish_take_render(PlanishTake *take, const PlanishRenderJob *job, const char *out,
                         PlanishWord word, PlanishError *error)
{
  const double rate = planish_reader_rate(job->mix);
  PlanishMeasure *measure = planish_measure_new(rate, 2);
  take->account_count = job->sheet->stage_count;
  take->accounts = calloc((size_t)take->account_count + 1, sizeof *take->accounts);
  take->frames = planish_render_frames(job);
  bool done = measure != NULL && take->accounts != NULL ? true : planish_fail_memory(error);
  if (done) {
    take->writer =
        planish_writer_new(out, rate, take->frames, word, measure_written, measure, error);
    done = take->writer != NULL && render(take, job, error);
  }
  if (done) {
    planish_measure_finish(measure, &take->result);
  }
  planish_measure_free(measure);
  return done;
}

void planish_take_release(PlanishTake *take)
{
  planish_writer_free(take->writer);
  planish_accounts_free(take->accounts, take->account_count);
  *take = (PlanishTake){0};
}

static bool write_with_gain(PlanishReader *reader, double gain, PlanishWriter *writer,
                            PlanishError *error)
{
  float block[2 * PLANISH_CHAIN_BLOCK];
  const double factor = planish_gain_of(gain);
  bool done = true;
  size_t got = 1;
  while (done && got > 0) {
    done = planish_interrupt_check(error) &&
           planish_reader_read(reader, block, PLANISH_CHAIN_BLOCK, &got, error);
    for (size_t n = 0; done && n < 2 * got; ++n) {
      block[n] = (float)((double)block[n] * factor);
    }
    done = done && planish_writer_write(writer, block, got, error);
  }
  return done && planish_writer_finish(writer, error);
}

PlanishWriter *planish_take_with_gain(const PlanishTake *take, double gain, const char *out,
                                      PlanishWord word, PlanishError *error)
{
  PlanishReader *reader = planish_reader_open(planish_writer_temporary(take->writer), NULL, error);
  if (reader == NULL) {
    return NULL;
  }
  PlanishWriter *writer =
      planish_writer_new(out, planish_reader_rate(reader), take->frames, word, NULL, NULL, error);
  if (writer != NULL && !write_with_gain(reader, gain, writer, error)) {
    planish_writer_free(writer);
    writer = NULL;
  }
  planish_reader_free(reader);
  return writer;
}
