/* A limiter core on its own, run over whole signals in whole grid blocks. */
#ifndef PLANISH_TESTS_LIMITER_FIXTURE_H
#define PLANISH_TESTS_LIMITER_FIXTURE_H

#include "common/dsp/maths.h"
#include "common/dsp/peak_limiter.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <stdlib.h>
#include <string.h>

typedef struct LimiterFixture LimiterFixture;

struct LimiterFixture {
  PlanishPeakLimiter limiter;
  PlanishPeakLimiterSettings settings; /* change at will; taken at the next grid frame */
  void *block;
  uint32_t block_limit; /* frames a call gets at most */
  /* Called at each grid frame, if not NULL: moves the settings. */
  void (*automate)(LimiterFixture *f, size_t frame);
  double most; /* largest reduction of the last run */
};

/* The defaults of the stage. */
static inline LimiterFixture *limiter_fixture_new(double rate)
{
  LimiterFixture *f = calloc(1, sizeof *f);
  const PlanishPeakLimiterConfig config = {
      .max_lookahead = 5.0, .max_hold = 30.0, .taps = PLANISH_TRUE_PEAK_TAPS};
  PlanishArena arena = planish_arena_counting();
  planish_peak_limiter_setup(&f->limiter, &arena, rate, &config);
  arena = arena_for(arena);
  f->block = arena.block;
  planish_peak_limiter_setup(&f->limiter, &arena, rate, &config);
  f->settings = (PlanishPeakLimiterSettings){.ceiling = -1.0,
                                             .lookahead = 2.0,
                                             .hold = 12.5,
                                             .release = 20.0,
                                             .slow_share = 1.0,
                                             .link = 1.0,
                                             .lift = 0.0,
                                             .lift_floor = -60.0};
  f->block_limit = PLANISH_GRID;
  return f;
}

static inline void limiter_fixture_free(LimiterFixture *f)
{
  free(f->block);
  free(f);
}

static inline uint32_t limiter_fixture_block(const LimiterFixture *f, size_t at, size_t frames)
{
  size_t count = PLANISH_GRID - at % PLANISH_GRID;
  count = count > f->block_limit ? f->block_limit : count;
  return (uint32_t)(count > frames - at ? frames - at : count);
}

/* From reset. `audio` is replaced by the result, latency and all. */
static inline void limiter_fixture_run(LimiterFixture *f, double *const *audio, uint32_t channels,
                                       size_t frames)
{
  planish_peak_limiter_reset(&f->limiter);
  f->most = 0.0;
  for (size_t at = 0; at < frames;) {
    const uint32_t count = limiter_fixture_block(f, at, frames);
    double *const block[2] = {audio[0] + at, channels == 2 ? audio[1] + at : NULL};
    if (at % PLANISH_GRID == 0) {
      if (f->automate) {
        f->automate(f, at);
      }
      planish_peak_limiter_set(&f->limiter, &f->settings);
    }
    const double most = planish_peak_limiter_process(&f->limiter, block, NULL, channels, count);
    f->most = planish_max(f->most, most);
    at += count;
  }
}

#endif
