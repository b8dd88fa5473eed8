#include "harness/render/price.h"

#include "common/dsp/maths.h"
#include "harness/audio/track.h"
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

/* Frames of both, of the mix behind job->from: the head silence of the file is not counted. */
typedef struct {
  uint64_t first;
  uint64_t frames;
} Part;

/* What is fed with both at once. */
typedef struct {
  PlanishPunch *punch;  /* NULL: only the account is wanted */
  PlanishTrack *before; /* NULL: there is no room for the account */
  PlanishTrack *after;
} Listeners;

static bool open_tracks(Listeners *listeners, uint64_t frames, const char *beside,
                        PlanishError *error)
{
  listeners->before = planish_track_new(beside, 0, error);
  listeners->after = planish_track_new(beside, 0, error);
  if (listeners->before == NULL || listeners->after == NULL) {
    return false;
  }
  if (!planish_track_has_room(listeners->before, 2 * frames)) {
    planish_track_free(listeners->before);
    listeners->before = NULL;
  }
  return true;
}

static bool listen(const Listeners *listeners, const float *before, const float *after,
                   size_t frames, PlanishError *error)
{
  if (listeners->punch != NULL) {
    planish_punch_process(listeners->punch, (const float *const[]){before, after}, frames);
  }
  return listeners->before == NULL ||
         (planish_track_write(listeners->before, before, frames, error) &&
          planish_track_write(listeners->after, after, frames, error));
}

static bool compare(const PlanishRenderJob *job, PlanishReader *master, const Part *part,
                    const Listeners *listeners, PlanishError *error)
{
  float before[2 * BLOCK];
  float after[2 * BLOCK];
  uint64_t at = job->from + part->first;
  uint64_t left = part->frames;
  size_t got = 1;
  bool done = true;
  while (done && got > 0) {
    done = planish_interrupt_check(error) &&
           planish_reader_read(master, after, left < BLOCK ? (size_t)left : BLOCK, &got, error) &&
           read_mix(job, &at, before, got, error) && listen(listeners, before, after, got, error);
    left -= got;
  }
  return done;
}

/* The head silence is skipped. */
static bool run(const PlanishRenderJob *job, PlanishReader *master, const Part *part,
                const Listeners *listeners, PlanishError *error)
{
  const uint64_t first = planish_render_head_frames(job) + part->first;
  const uint64_t mix = job->from + part->first;
  return first >= planish_reader_frames(master) ||
         (planish_reader_seek(master, first, error) &&
          planish_reader_seek(job->mix, mix < job->to ? mix : job->to, error) &&
          compare(job, master, part, listeners, error));
}

static bool conclude(PlanishPrice *price, const Listeners *listeners, double rate,
                     PlanishError *error)
{
  price->known = listeners->punch != NULL;
  if (price->known) {
    price->punch_mix = planish_punch_result(listeners->punch, 0);
    price->punch_master = planish_punch_result(listeners->punch, 1);
  }
  price->has_distortion = listeners->before != NULL;
  return !price->has_distortion || planish_distortion_pair(listeners->before, listeners->after,
                                                           rate, &price->distortion, error);
}

static bool find(PlanishPrice *price, const PlanishRenderJob *job, const char *file,
                 const char *beside, const Part *part, Listeners *listeners, PlanishError *error)
{
  PlanishReader *master = planish_reader_open(file, NULL, error);
  const bool done = master != NULL && open_tracks(listeners, part->frames, beside, error) &&
                    run(job, master, part, listeners, error) &&
                    conclude(price, listeners, planish_reader_rate(job->mix), error);
  planish_track_free(listeners->before);
  planish_track_free(listeners->after);
  planish_reader_free(master);
  return done;
}

bool planish_price_find(PlanishPrice *price, const PlanishRenderJob *job, const char *file,
                        const char *beside, PlanishError *error)
{
  const Part whole = {0, planish_render_tapped_frames(job)};
  Listeners listeners = {.punch = planish_punch_new(planish_reader_rate(job->mix), 2)};
  *price = (PlanishPrice){0};
  const bool done = listeners.punch != NULL
                        ? find(price, job, file, beside, &whole, &listeners, error)
                        : planish_fail_memory(error);
  planish_punch_free(listeners.punch);
  return done;
}

bool planish_price_find_around(PlanishPrice *price, const PlanishRenderJob *job, const char *file,
                               const char *beside, uint64_t middle, PlanishError *error)
{
  const double rate = planish_reader_rate(job->mix);
  const uint64_t tapped = planish_render_tapped_frames(job);
  const uint64_t head = planish_render_head_frames(job);
  const uint64_t wanted = (uint64_t)(PLANISH_PRICE_LOUDEST * rate);
  Part part = {.frames = tapped < wanted ? tapped : wanted};
  const uint64_t last = tapped - part.frames;
  const uint64_t before = head + part.frames / 2;
  part.first = middle > before ? middle - before : 0;
  part.first = part.first < last ? part.first : last;
  Listeners listeners = {0};
  *price = (PlanishPrice){0};
  return (double)part.frames < PLANISH_DISTORTION_SHORTEST * rate ||
         find(price, job, file, beside, &part, &listeners, error);
}
