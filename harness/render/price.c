#include "harness/render/price.h"

#include "common/dsp/maths.h"
#include "harness/base/interrupt.h"

enum { BLOCK = 4096 };

/* The next frames of the mix at its working level; silence behind its end. */
static bool read_mix(const PlanishRenderJob *job, uint64_t *at, float *interleaved, size_t frames,
                     PlanishError *error)
{
  const uint64_t left = *at < job->to ? job->to - *at : 0;
  const size_t wanted = left < frames ? (size_t)left : frames;
  size_t got = 0;
  if (wanted > 0 && !planish_reader_read(job->mix, interleaved, wanted, &got, error)) {
    return false;
  }
  const double factor = planish_gain_of(job->input_gain);
  for (size_t n = 0; n < 2 * frames; ++n) {
    interleaved[n] = n < 2 * got ? (float)((double)interleaved[n] * factor) : 0.0f;
  }
  *at += frames;
  return true;
}

static bool compare(const PlanishRenderJob *job, PlanishReader *master, PlanishPunch *punch,
                    PlanishError *error)
{
  float before[2 * BLOCK];
  float after[2 * BLOCK];
  uint64_t at = job->from;
  size_t got = 1;
  bool done = true;
  while (done && got > 0) {
    done = planish_interrupt_check(error) &&
           planish_reader_read(master, after, BLOCK, &got, error) &&
           read_mix(job, &at, before, got, error);
    if (done) {
      planish_punch_process(punch, (const float *const[]){before, after}, got);
    }
  }
  return done;
}

bool planish_price_find(PlanishPrice *price, const PlanishRenderJob *job, const char *file,
                        PlanishError *error)
{
  *price = (PlanishPrice){0};
  PlanishPunch *punch = planish_punch_new(planish_reader_rate(job->mix), 2);
  PlanishReader *master = planish_reader_open(file, NULL, error);
  const uint64_t head = planish_render_frames(job) - planish_render_tapped_frames(job);
  bool done = punch != NULL ? true : planish_fail_memory(error);
  done = done && master != NULL &&
         (head >= planish_reader_frames(master) ||
          (planish_reader_seek(master, head, error) &&
           planish_reader_seek(job->mix, job->from, error) && compare(job, master, punch, error)));
  if (done) {
    price->known = true;
    price->punch_mix = planish_punch_result(punch, 0);
    price->punch_master = planish_punch_result(punch, 1);
  }
  planish_reader_free(master);
  planish_punch_free(punch);
  return done;
}
