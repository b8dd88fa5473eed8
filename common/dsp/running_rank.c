#include "common/dsp/running_rank.h"

#include "common/dsp/wide.h"

enum { LANES = PLANISH_RANK_LANES, FIRST = 8, PLACES = 24, HALF = PLANISH_RANK_WINDOW / 2 };

void planish_rank_rows_setup(PlanishRankRows *rows, PlanishArena *arena, uint32_t columns,
                             uint32_t most)
{
  rows->columns = columns;
  rows->most = most;
  rows->history = planish_arena_take(arena, (size_t)(most + 1) * columns, sizeof(float));
  rows->sorted = planish_arena_take(arena, (size_t)(most + 3) * columns, sizeof(float));
}

void planish_rank_rows_reset(PlanishRankRows *rows)
{
  const size_t places = (size_t)(rows->most + 3) * rows->columns;
  for (size_t i = 0; i < places; ++i) {
    rows->sorted[i] = PLANISH_RANK_NONE;
  }
  rows->count = 0;
  rows->newest = 0;
}

float *planish_rank_rows_begin(PlanishRankRows *rows, uint32_t wanted)
{
  rows->before = rows->count;
  rows->removed = rows->count < wanted ? 0 : (rows->count == wanted ? 1 : 2);
  rows->count += 1 - rows->removed;
  rows->newest = (rows->newest + 1) % (rows->most + 1);
  return rows->history + (size_t)rows->newest * rows->columns;
}

/* Each lane a column of its own; `count` places from the lowest on. */
PLANISH_WIDE static void sweep(float *restrict sorted, const float *restrict old,
                               const float *restrict now, uint32_t count)
{
  float under[LANES];
  for (int j = 0; j < LANES; ++j) {
    under[j] = -PLANISH_RANK_NONE;
  }
  for (uint32_t i = 0; i < count; ++i) {
    float *restrict const here = sorted + (size_t)i * LANES;
    const float *restrict const next = here + LANES;
    for (int j = 0; j < LANES; ++j) {
      const float left = here[j] < old[j] ? here[j] : next[j];
      const float least = under[j] > now[j] ? under[j] : now[j];
      here[j] = left < least ? left : least;
      under[j] = left;
    }
  }
}

void planish_rank_rows_take(PlanishRankRows *rows, uint32_t from, uint32_t to)
{
  float none[LANES];
  for (int j = 0; j < LANES; ++j) {
    none[j] = PLANISH_RANK_NONE;
  }
  const float *const newest = planish_rank_rows_ago(rows, 0);
  /* The oldest row is as many rows back as were sorted. */
  const float *const oldest = planish_rank_rows_ago(rows, rows->before);
  const float *const next = planish_rank_rows_ago(rows, rows->before == 0 ? 0 : rows->before - 1);
  for (uint32_t k = from; k < to; k += LANES) {
    float *const sorted = rows->sorted + (size_t)k * (rows->most + 3);
    if (rows->removed == 2) {
      sweep(sorted, oldest + k, none, rows->before);
      sweep(sorted, next + k, newest + k, rows->before - 1);
    } else if (rows->removed == 1) {
      sweep(sorted, oldest + k, newest + k, rows->before);
    } else {
      sweep(sorted, none, newest + k, rows->before + 1);
    }
  }
}

static void empty(PlanishRankWindow *window)
{
  for (int w = 0; w < 2; ++w) {
    for (int i = 0; i < FIRST + PLACES + FIRST; ++i) {
      window->places[w][i] = i < FIRST ? -PLANISH_RANK_NONE : PLANISH_RANK_NONE;
    }
  }
  window->now = 0;
}

static inline __attribute__((always_inline)) void slide(PlanishRankWindow *window, float old,
                                                        float now)
{
  const float *restrict const from = window->places[window->now] + FIRST;
  float *restrict const to = window->places[1 - window->now] + FIRST;
  for (int i = 0; i < PLACES; ++i) {
    const float left = from[i] < old ? from[i] : from[i + 1];
    const float under = from[i - 1] < old ? from[i - 1] : from[i];
    const float least = under > now ? under : now;
    to[i] = left < least ? left : least;
  }
  window->now = 1 - window->now;
}

static uint32_t mirrored(int32_t at, uint32_t count)
{
  const uint32_t up = (uint32_t)(at < 0 ? -at : at);
  return up < count ? up : 2 * (count - 1) - up;
}

PLANISH_WIDE void planish_rank_window_begin(PlanishRankWindow *window, const float *sequence,
                                            uint32_t count)
{
  empty(window);
  for (int32_t i = -HALF; i <= HALF; ++i) {
    slide(window, PLANISH_RANK_NONE, sequence[mirrored(i, count)]);
  }
}

PLANISH_WIDE void planish_rank_window_medians(PlanishRankWindow *window, const float *sequence,
                                              uint32_t count, float *medians, uint32_t from,
                                              uint32_t to)
{
  for (uint32_t i = from; i < to; ++i) {
    const int32_t at = (int32_t)i;
    if (i > 0) {
      slide(window, sequence[mirrored(at - 1 - HALF, count)], sequence[mirrored(at + HALF, count)]);
    }
    medians[i] = window->places[window->now][FIRST + HALF];
  }
}
