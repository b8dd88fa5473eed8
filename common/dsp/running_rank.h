/* Running quantiles: values that stay sorted while the oldest goes and the newest comes, without a
 * branch that depends on them.
 *
 * With s sorted, taking out `old` and putting in `now` is one sweep:
 *   t[i] = s[i] < old ? s[i] : s[i + 1]
 *   u[i] = min(t[i], max(t[i - 1], now))
 * so that compilers make vectors of it: over columns that are sorted side by side
 * (PlanishRankRows: one window for each bin, along time), or over the places of one window
 * (PlanishRankWindow, along frequency). What is not there stands as PLANISH_RANK_NONE at the upper
 * end; to take out or put in nothing is to take out or put in that.
 *
 * Values are finite and under PLANISH_RANK_NONE. Thread: one at a time. All but setup are real-time
 * safe. */
#ifndef PLANISH_DSP_RUNNING_RANK_H
#define PLANISH_DSP_RUNNING_RANK_H

#include "common/dsp/arena.h"

#include <stdint.h>

#define PLANISH_RANK_NONE 3.0e38F

enum {
  /* Columns that are sorted at a time. */
  PLANISH_RANK_LANES = 16,
  /* Values of a window along a sequence. */
  PLANISH_RANK_WINDOW = 23,
};

typedef struct {
  float *history; /* [most + 1][columns], a ring */
  float *sorted;  /* [columns / lanes][most + 3][lanes] */
  uint32_t columns;
  uint32_t most;    /* rows */
  uint32_t count;   /* rows that are sorted once the newest is in */
  uint32_t before;  /* ... and before the oldest went */
  uint32_t removed; /* how many go: 0 to 2 */
  uint32_t newest;  /* place in the ring */
} PlanishRankRows;

/* `columns` is a multiple of PLANISH_RANK_LANES; `most` rows at most, > 0. */
void planish_rank_rows_setup(PlanishRankRows *rows, PlanishArena *arena, uint32_t columns,
                             uint32_t most);

/* Holds no row. */
void planish_rank_rows_reset(PlanishRankRows *rows);

/* A new row comes: the length goes towards `wanted` (1..most) by one row. Returns where the row is
 * to be written, [columns]; what stands there is old. */
float *planish_rank_rows_begin(PlanishRankRows *rows, uint32_t wanted);

/* Sorts the new row in, columns from..to-1, multiples of PLANISH_RANK_LANES. Once for each column,
 * in any order. */
void planish_rank_rows_take(PlanishRankRows *rows, uint32_t from, uint32_t to);

/* The row that came `ago` rows before the newest, ago <= most. One from before a reset, or that
 * never came, holds what it held. */
static inline const float *planish_rank_rows_ago(const PlanishRankRows *rows, uint32_t ago)
{
  const uint32_t length = rows->most + 1;
  return rows->history + (size_t)((rows->newest + length - ago) % length) * rows->columns;
}

/* The lower median of PLANISH_RANK_LANES columns from `from` on. */
static inline const float *planish_rank_rows_median(const PlanishRankRows *rows, uint32_t from)
{
  return rows->sorted + (size_t)from * (rows->most + 3) +
         (size_t)((rows->count - 1) / 2) * PLANISH_RANK_LANES;
}

typedef struct {
  float places[2][8 + 24 + 8]; /* the window from the eighth place on, with what bounds it */
  uint32_t now;
} PlanishRankWindow;

/* The window around place 0 of sequence[0..count-1], count >= PLANISH_RANK_WINDOW / 2 + 2, which
 * mirrors at both ends: as much work as PLANISH_RANK_WINDOW medians. */
void planish_rank_window_begin(PlanishRankWindow *window, const float *sequence, uint32_t count);

/* The medians around places from..to-1; to be called in order, from place 0 on. */
void planish_rank_window_medians(PlanishRankWindow *window, const float *sequence, uint32_t count,
                                 float *medians, uint32_t from, uint32_t to);

#endif
