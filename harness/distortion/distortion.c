#include "harness/distortion/distortion.h"

#include "harness/base/interrupt.h"
#include "harness/distortion/loudest_stretch.h"
#include "harness/distortion/tier_fit.h"
#include "harness/measure/measure.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>

enum { PIECE = 4096, MOST_THREADS = 2 };

/* Above this rate one thread must do, or memory would be too much. */
#define TWO_THREADS_RATE 100000.0

/* All that is to be done, in jobs that do not depend on one another: the levels of all tracks, then
 * the fits of the whole and of the stages. */
typedef struct {
  PlanishTrack *const *tracks;
  uint32_t count; /* stages */
  double rate;
  const PlanishFitPlans *plans;
  PlanishTrackLevel *levels; /* of tracks */
  PlanishDistortion *stages;
  PlanishDistortion *whole;
  bool fits; /* not only levels */
  PlanishDistortionTold told;
  void *user;
  pthread_mutex_t lock; /* of all below */
  uint32_t next;
  uint32_t done;
  uint32_t jobs;
  bool failed;
} Work;

typedef struct {
  Work *work;
  PlanishTierFit *fit;
  PlanishError error;
} Worker;

static bool measure_track(PlanishTrack *track, double rate, PlanishTrackLevel *level,
                          PlanishError *error)
{
  PlanishMeasure *measure = planish_measure_new(rate, 2);
  if (measure == NULL) {
    return planish_fail_memory(error);
  }
  const uint64_t frames = planish_track_frames(track);
  float piece[2 * PIECE];
  bool done = true;
  for (uint64_t at = 0; at < frames && done; at += PIECE) {
    const size_t count = frames - at < PIECE ? (size_t)(frames - at) : PIECE;
    done = planish_interrupt_check(error) && planish_track_read(track, at, piece, count, error);
    if (done) {
      planish_measure_process(measure, piece, count);
    }
  }
  PlanishMeasurement measured;
  planish_measure_finish(measure, &measured);
  planish_measure_free(measure);
  *level = (PlanishTrackLevel){measured.integrated, measured.true_peak};
  return done;
}

static bool run_job(Worker *worker, uint32_t job)
{
  const Work *work = worker->work;
  if (job <= work->count) {
    return measure_track(work->tracks[job], work->rate, &work->levels[job], &worker->error);
  }
  /* The whole first: it takes longest. */
  const uint32_t n = job - work->count - 1;
  PlanishTrack *before = work->tracks[n == 0 ? 0 : n - 1];
  PlanishTrack *after = work->tracks[n == 0 ? work->count : n];
  PlanishDistortion *result = n == 0 ? work->whole : &work->stages[n - 1];
  return planish_tier_fit_run(worker->fit, before, after, result, &worker->error);
}

/* The next job; false where there is none. */
static bool take_job(Work *work, uint32_t *job)
{
  pthread_mutex_lock(&work->lock);
  const bool there_is = work->next < work->jobs && !work->failed;
  *job = there_is ? work->next++ : 0;
  pthread_mutex_unlock(&work->lock);
  return there_is;
}

static void end_job(Work *work, bool done)
{
  pthread_mutex_lock(&work->lock);
  work->failed = work->failed || !done;
  ++work->done;
  if (work->told != NULL) {
    work->told(work->user, (double)work->done / (double)work->jobs);
  }
  pthread_mutex_unlock(&work->lock);
}

static void *run_worker(void *given)
{
  Worker *worker = given;
  uint32_t job;
  while (take_job(worker->work, &job)) {
    end_job(worker->work, run_job(worker, job));
  }
  return NULL;
}

static bool run_workers(Work *work, unsigned threads, PlanishError *error)
{
  Worker workers[MOST_THREADS] = {{.work = work}, {.work = work}};
  bool ready = true;
  for (unsigned n = 0; n < threads; ++n) {
    workers[n].fit = work->fits ? planish_tier_fit_new(work->plans) : NULL;
    ready = ready && (workers[n].fit != NULL || !work->fits);
  }
  if (ready) {
    pthread_t other;
    const bool two = threads > 1 && pthread_create(&other, NULL, run_worker, &workers[1]) == 0;
    run_worker(&workers[0]);
    if (two) {
      pthread_join(other, NULL);
    }
  }
  for (unsigned n = 0; n < MOST_THREADS; ++n) {
    planish_tier_fit_free(workers[n].fit);
    if (workers[n].error.outcome != PLANISH_DONE) {
      planish_fail(error, workers[n].error.outcome, "%s", workers[n].error.text);
    }
  }
  return ready ? !work->failed : planish_fail_memory(error);
}

static PlanishDistortion nothing_known(PlanishDistortionStatus status, PlanishStretch stretch)
{
  const double unknown = (double)NAN;
  return (PlanishDistortion){
      .status = status,
      .stretch = stretch,
      .before = {unknown, unknown},
      .after = {unknown, unknown},
      .loudness_won = unknown,
      .gain_lowest = unknown,
      .gain_highest = unknown,
      .gain_mean = unknown,
      .not_linear = unknown,
      .level = unknown,
      .distortion = unknown,
      .audible = unknown,
      .nmr_p95 = unknown,
  };
}

static void add_levels(PlanishDistortion *result, PlanishTrackLevel before, PlanishTrackLevel after)
{
  result->before = before;
  result->after = after;
  const double won = (after.loudness - after.true_peak) - (before.loudness - before.true_peak);
  result->loudness_won = isfinite(won) ? won : (double)NAN;
}

static bool account(Work *work, unsigned threads, PlanishError *error)
{
  PlanishStretch stretch;
  if (!planish_loudest_stretch(work->tracks[work->count], work->rate, PLANISH_DISTORTION_STRETCH,
                               &stretch, error)) {
    return false;
  }
  const bool enough = (double)stretch.frames >= PLANISH_DISTORTION_SHORTEST * work->rate;
  const PlanishDistortion start =
      nothing_known(enough ? PLANISH_DISTORTION_DONE : PLANISH_DISTORTION_TOO_SHORT, stretch);
  *work->whole = start;
  for (uint32_t n = 0; n < work->count; ++n) {
    work->stages[n] = start;
  }
  work->fits = enough;
  /* One stage is the whole. */
  const uint32_t fits = work->count == 1 ? 1 : work->count + 1;
  work->jobs = work->count + 1 + (enough ? fits : 0);
  if (!run_workers(work, threads, error)) {
    return false;
  }
  if (work->count == 1) {
    work->stages[0] = *work->whole;
  }
  for (uint32_t n = 0; n < work->count; ++n) {
    add_levels(&work->stages[n], work->levels[n], work->levels[n + 1]);
  }
  add_levels(work->whole, work->levels[0], work->levels[work->count]);
  return true;
}

bool planish_distortion_chain(PlanishTrack *const *tracks, uint32_t count, double rate,
                              unsigned threads, PlanishDistortionTold told, void *user,
                              PlanishDistortion *stages, PlanishDistortion *whole,
                              PlanishError *error)
{
  PlanishFitPlans *plans = planish_fit_plans_new(rate);
  Work work = {
      .tracks = tracks,
      .count = count,
      .rate = rate,
      .plans = plans,
      .levels = calloc((size_t)count + 1, sizeof(PlanishTrackLevel)),
      .stages = stages,
      .whole = whole,
      .told = told,
      .user = user,
      .lock = PTHREAD_MUTEX_INITIALIZER,
  };
  const unsigned most = rate > TWO_THREADS_RATE ? 1 : MOST_THREADS;
  const bool done = plans != NULL && work.levels != NULL
                        ? account(&work, threads < most ? threads : most, error)
                        : planish_fail_memory(error);
  free(work.levels);
  planish_fit_plans_free(plans);
  return done;
}

bool planish_distortion_pair(PlanishTrack *before, PlanishTrack *after, double rate,
                             PlanishDistortion *result, PlanishError *error)
{
  PlanishTrack *const tracks[2] = {before, after};
  PlanishDistortion whole;
  return planish_distortion_chain(tracks, 1, rate, 1, NULL, NULL, result, &whole, error);
}

bool planish_distortion_ruins(const PlanishDistortion *distortion)
{
  return distortion->audible >= PLANISH_DISTORTION_RUINOUS;
}

const char *planish_distortion_words(PlanishDistortionStatus status)
{
  switch (status) {
  case PLANISH_DISTORTION_DONE:
    return "done";
  case PLANISH_DISTORTION_TOO_SHORT:
    return "too short for an account: 10 s are needed";
  case PLANISH_DISTORTION_SILENT:
    return "silent: there is nothing to account for";
  }
  return "";
}
