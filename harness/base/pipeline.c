#include "harness/base/pipeline.h"

#include "harness/base/interrupt.h"
#include "harness/base/workers.h"

#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <time.h>

/* Blocks that a step does at once, while there are so many: what it works with stays in the
 * processor's cache. */
enum { MOST_AT_ONCE = 8, MOST_THREADS = PLANISH_PIPELINE_DEPTH / 2 };

typedef struct {
  uint64_t done; /* blocks */
  bool busy;     /* a thread is at it */
} Step;

typedef struct {
  const PlanishPipeline *pipeline;
  uint64_t at_once;
  uint64_t depth;
  pthread_mutex_t lock; /* of all below */
  pthread_cond_t moved;
  Step *steps;
  size_t busy;
  uint64_t end; /* no block from this one on goes further */
  PlanishError error;
} Line;

/* Some blocks for a step. */
typedef struct {
  size_t step;
  uint64_t first;
  uint64_t count;
} Share;

/* How many blocks wait for a step. */
static uint64_t waiting(const Line *line, size_t step)
{
  const Step *steps = line->steps;
  const uint64_t ahead =
      step > 0 ? steps[step - 1].done : steps[line->pipeline->steps - 1].done + line->depth;
  const uint64_t end = ahead < line->end ? ahead : line->end;
  return !steps[step].busy && steps[step].done < end ? end - steps[step].done : 0;
}

static bool take_share(Line *line, Share *share)
{
  for (size_t step = line->pipeline->steps; step-- > 0;) {
    const uint64_t count = waiting(line, step);
    if (count > 0) {
      line->steps[step].busy = true;
      line->busy += 1;
      *share = (Share){step, line->steps[step].done, count < line->at_once ? count : line->at_once};
      return true;
    }
  }
  return false;
}

static double processor_time(void)
{
  struct timespec time;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
  return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

/* How many of them were done. */
static uint64_t do_share(const PlanishPipeline *pipeline, const Share *share, PlanishError *error)
{
  const double began = pipeline->seconds != NULL ? processor_time() : 0.0;
  uint64_t done = 0;
  while (done < share->count &&
         pipeline->work(pipeline->user, share->step, share->first + done, error)) {
    done += 1;
  }
  if (pipeline->seconds != NULL) {
    pipeline->seconds[share->step] += processor_time() - began;
  }
  return done;
}

static void fail_from(Line *line, uint64_t block, const PlanishError *error)
{
  if (block < line->end) {
    line->end = block;
    line->error = *error;
  }
}

static void give_back(Line *line, const Share *share, uint64_t done, const PlanishError *error)
{
  line->steps[share->step].done += done;
  line->steps[share->step].busy = false;
  line->busy -= 1;
  if (done < share->count) {
    fail_from(line, share->first + done, error);
  }
  pthread_cond_broadcast(&line->moved);
}

/* With the lock held; nothing may be under way any more. */
static bool is_over(const Line *line)
{
  return line->busy == 0 && line->steps[line->pipeline->steps - 1].done >= line->end;
}

/* With the lock held, but while it works or tells. */
static void look_after(Line *line)
{
  const PlanishPipeline *pipeline = line->pipeline;
  const uint64_t done = line->steps[pipeline->steps - 1].done;
  PlanishError asked = {0};
  pthread_mutex_unlock(&line->lock);
  const bool go_on = planish_interrupt_check(&asked);
  if (pipeline->told != NULL) {
    pipeline->told(pipeline->told_user, (double)done / (double)pipeline->blocks);
  }
  pthread_mutex_lock(&line->lock);
  if (!go_on) {
    fail_from(line, 0, &asked);
    pthread_cond_broadcast(&line->moved);
  }
}

static void work(Line *line, bool is_main)
{
  pthread_mutex_lock(&line->lock);
  while (!is_over(line)) {
    Share share;
    if (take_share(line, &share)) {
      PlanishError error = {0};
      pthread_mutex_unlock(&line->lock);
      const uint64_t done = do_share(line->pipeline, &share, &error);
      pthread_mutex_lock(&line->lock);
      give_back(line, &share, done, &error);
    } else {
      pthread_cond_wait(&line->moved, &line->lock);
    }
    if (is_main) {
      look_after(line);
    }
  }
  pthread_mutex_unlock(&line->lock);
}

static void *help(void *line)
{
  work(line, false);
  return NULL;
}

/* Signals are the main thread's. Where a thread cannot be had, those that are there do it all. */
static void work_together(Line *line, size_t threads)
{
  pthread_t others[MOST_THREADS];
  size_t count = 0;
  sigset_t all;
  sigset_t before;
  sigfillset(&all);
  pthread_sigmask(SIG_SETMASK, &all, &before);
  while (count + 1 < threads && pthread_create(&others[count], NULL, help, line) == 0) {
    count += 1;
  }
  pthread_sigmask(SIG_SETMASK, &before, NULL);
  work(line, true);
  while (count-- > 0) {
    pthread_join(others[count], NULL);
  }
}

static size_t threads_for(const PlanishPipeline *pipeline)
{
  const size_t processors = planish_workers_processors();
  const size_t most = pipeline->steps < MOST_THREADS ? pipeline->steps : MOST_THREADS;
  return processors < most ? processors : most;
}

bool planish_pipeline_run(const PlanishPipeline *pipeline, PlanishError *error)
{
  if (!planish_interrupt_check(error)) {
    return false;
  }
  const size_t threads = threads_for(pipeline);
  const uint64_t fair = PLANISH_PIPELINE_DEPTH / (2 * threads);
  Line line = {.pipeline = pipeline,
               .at_once = fair < MOST_AT_ONCE ? fair : MOST_AT_ONCE,
               .steps = calloc(pipeline->steps, sizeof *line.steps),
               .end = pipeline->blocks};
  if (line.steps == NULL) {
    return planish_fail_memory(error);
  }
  line.depth = threads == 1 ? line.at_once : 2 * threads * line.at_once;
  pthread_mutex_init(&line.lock, NULL);
  pthread_cond_init(&line.moved, NULL);
  work_together(&line, threads);
  pthread_cond_destroy(&line.moved);
  pthread_mutex_destroy(&line.lock);
  free(line.steps);
  if (line.end == pipeline->blocks && pipeline->told != NULL) {
    pipeline->told(pipeline->told_user, 1.0);
  }
  if (line.end < pipeline->blocks && error != NULL && error->outcome == PLANISH_DONE) {
    *error = line.error;
  }
  return line.end == pipeline->blocks;
}
