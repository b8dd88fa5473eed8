#include "tests/bench/chain.h"

#include "harness/base/workers.h"
#include "harness/render/renderer.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { ROUNDS = 5 };

/* The whole process, its threads together; or the clock on the wall. */
static double time_of(clockid_t clock)
{
  struct timespec time;
  clock_gettime(clock, &time);
  return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

typedef struct {
  double wall;              /* s, the shortest of all rounds */
  double processor;         /* s, the least of all rounds, of all threads together */
  PlanishAccount *accounts; /* of the last round */
} Cost;

static bool render_once(const PlanishRenderJob *job, unsigned processors, Cost *cost,
                        PlanishError *error)
{
  planish_accounts_free(cost->accounts, job->sheet->stage_count);
  cost->accounts = calloc((size_t)job->sheet->stage_count + 1, sizeof *cost->accounts);
  planish_workers_limit(processors);
  const double began = time_of(CLOCK_MONOTONIC);
  const double used = time_of(CLOCK_PROCESS_CPUTIME_ID);
  if (cost->accounts == NULL || !planish_render(job, NULL, NULL, cost->accounts, NULL, error)) {
    return false;
  }
  cost->wall = fmin(cost->wall, time_of(CLOCK_MONOTONIC) - began);
  cost->processor = fmin(cost->processor, time_of(CLOCK_PROCESS_CPUTIME_ID) - used);
  return true;
}

static void tell_shares(const PlanishSheet *sheet, const Cost *cost)
{
  double sum = 0.0;
  double dearest = 0.0;
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    sum += cost->accounts[n].seconds;
    dearest = fmax(dearest, cost->accounts[n].seconds);
  }
  printf("| stage | share |\n|---|---|\n");
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    if (sheet->stages[n].depth == 0) {
      printf("| %s | %.1f %% |\n", sheet->stages[n].name, 100.0 * cost->accounts[n].seconds / sum);
    }
  }
  printf("\nthe dearest lets %.1f processors work at once\n", sum / dearest);
}

static void tell(const PlanishRenderJob *job, const Cost *one, const Cost *all, unsigned processors)
{
  const double length = (double)job->to / planish_reader_rate(job->mix);
  tell_shares(job->sheet, one);
  printf("one processor: %.1f times as fast as it sounds (by processor time %.1f)\n",
         length / one->wall, length / one->processor);
  printf("%u processors: %.1f; ratio %.2f; %.2f at work at once\n", processors, length / all->wall,
         one->wall / all->wall, all->processor / all->wall);
}

static bool measure(const PlanishRenderJob *job, PlanishError *error)
{
  Cost one = {.wall = HUGE_VAL, .processor = HUGE_VAL};
  Cost all = one;
  planish_workers_limit(0);
  const unsigned processors = planish_workers_processors();
  bool done = true;
  for (int round = 0; done && round < ROUNDS; ++round) {
    done = render_once(job, 1, &one, error) && render_once(job, processors, &all, error);
  }
  if (done) {
    tell(job, &one, &all, processors);
  }
  planish_accounts_free(one.accounts, job->sheet->stage_count);
  planish_accounts_free(all.accounts, job->sheet->stage_count);
  return done;
}

/* Processor time of the quickest round. */
static void tell_loading(void)
{
  double least[2] = {HUGE_VAL, HUGE_VAL};
  for (int round = 0; round < ROUNDS; ++round) {
    PlanishError error = {0};
    const double began = time_of(CLOCK_PROCESS_CPUTIME_ID);
    PlanishHost *host = planish_host_open(&error);
    least[0] = fmin(least[0], time_of(CLOCK_PROCESS_CPUTIME_ID) - began);
    for (uint32_t n = 0; host != NULL && n < planish_host_count(host); ++n) {
      planish_host_plugin(host, planish_host_uri(host, n), &error);
    }
    least[1] = fmin(least[1], time_of(CLOCK_PROCESS_CPUTIME_ID) - began);
    planish_host_free(host);
  }
  printf("the bundle is loaded in %.1f ms, and all that it says of its stages in %.1f ms\n\n",
         1e3 * least[0], 1e3 * least[1]);
}

int bench_chain(const char *path, const char *mix)
{
  PlanishError error = {0};
  PlanishMistakes mistakes = {0};
  tell_loading();
  PlanishHost *host = planish_host_open(&error);
  PlanishSheet *sheet = host == NULL ? NULL : planish_sheet_read(path, host, false, &mistakes);
  PlanishRenderJob job = {.sheet = sheet};
  job.mix = sheet == NULL ? NULL : planish_mix_open(mix, sheet, false, &error);
  bool done = job.mix != NULL;
  if (done) {
    job.to = planish_reader_frames(job.mix);
    done = measure(&job, &error);
  }
  if (!done) {
    (void)fprintf(stderr, "%s\n", mistakes.count > 0 ? mistakes.list[0].text : error.text);
  }
  planish_reader_free(job.mix);
  planish_sheet_free(sheet);
  planish_mistakes_free(&mistakes);
  planish_host_free(host);
  return done ? 0 : 2;
}
