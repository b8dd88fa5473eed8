/* A linear-phase interpolator on blocks: `ratio` points a frame, four frames side by side.
 *
 * Its response is even in time, so the phases p and ratio - p mirror each other: with e and o the
 * even and the odd half of phase p about its middle,
 *
 *   phase p          = sum of e (x[k] + x[taps-1-k]) + o (x[k] - x[taps-1-k])
 *   phase ratio - p  = the same with -
 *
 * over half of the taps, and both share all products. Phase ratio/2 mirrors itself about the same
 * middle, phase 0 about the frame before that, and its newest tap is 0.
 *
 * Every frame is worked out by the same operations in the same order whichever lane it has.
 *
 * Thread: any. Real-time safe. Taps, ratio (4, 8 or 16) and `wide` (four_lanes.h) must be constants
 * where these are called. */
#ifndef PLANISH_DSP_INTERPOLATOR_H
#define PLANISH_DSP_INTERPOLATOR_H

#include "common/dsp/four_lanes.h"
#include "common/dsp/two_lanes.h"

#include <stddef.h>

/* Numbers in a kernel: for each tap of half the filter, and for each phase, the same in four lanes.
 */
#define PLANISH_INTERPOLATOR_SIZE(taps, ratio) ((size_t)(taps) / 2 * (ratio)*PLANISH_LANES)

/* Sums kept at a time: as many as leave registers to work with. */
enum { PLANISH_INTERPOLATOR_SWEEP = 8 };

PLANISH_INLINED PlanishTwo planish_two_load(const double *from)
{
  PlanishTwo two;
  memcpy(&two, from, sizeof two);
  return two;
}

/* The factor of one tap in one column: phase 0, phase ratio/2, then even and odd half of each
 * phase in between. */
static inline double planish_interpolator_factor(const double *phases, uint32_t taps,
                                                 uint32_t ratio, uint32_t k, uint32_t column)
{
  const double *const early = phases + (size_t)k * ratio;
  const double *const late = phases + (size_t)(taps - 1 - k) * ratio;
  if (column == 0) {
    /* The middle tap would be taken twice. */
    return early[0] * (k + 1 == taps / 2 ? 0.5 : 1.0);
  }
  const uint32_t phase = column == 1 ? ratio / 2 : column / 2;
  const double front = early[phase];
  const double back = late[phase];
  return column % 2 == 0 || column == 1 ? 0.5 * (front + back) : 0.5 * (front - back);
}

/* From the filter as it stands, [taps][ratio], for the oldest frame first. Taps and ratio even. */
static inline void planish_interpolator_lay(double *kernel, const double *phases, uint32_t taps,
                                            uint32_t ratio)
{
  for (uint32_t k = 0; k < taps / 2; ++k) {
    for (uint32_t column = 0; column < ratio; ++column) {
      const double factor = planish_interpolator_factor(phases, taps, ratio, k, column);
      for (uint32_t lane = 0; lane < PLANISH_LANES; ++lane) {
        *kernel++ = factor;
      }
    }
  }
}

/* What a column takes: of a tap and its mirror the sum or the difference. */
typedef enum { PLANISH_COLUMN_FIRST, PLANISH_COLUMN_EVEN, PLANISH_COLUMN_ODD } PlanishColumn;

PLANISH_INLINED PlanishColumn planish_interpolator_column(uint32_t column)
{
  if (column == 0) {
    return PLANISH_COLUMN_FIRST;
  }
  return column == 1 || column % 2 == 0 ? PLANISH_COLUMN_EVEN : PLANISH_COLUMN_ODD;
}

/* Columns from..from + count of the kernel, four lanes at a time. */
PLANISH_INLINED void planish_interpolator_sweep(const PlanishFour *kernel, const double *past,
                                                PlanishFour *sums, uint32_t taps, uint32_t ratio,
                                                uint32_t from, uint32_t count)
{
  PlanishFour sum[PLANISH_INTERPOLATOR_SWEEP] = {{0.0}};
  const double *front = past;
  const double *back = past + taps - 1;
  kernel += from;
  for (uint32_t k = 0; k < taps / 2; ++k, ++front, --back, kernel += ratio) {
    const PlanishFour older = planish_four_load(front);
    const PlanishFour newer = planish_four_load(back);
    const PlanishFour taken[] = {older + planish_four_load(back - 1), older + newer, older - newer};
    for (uint32_t c = 0; c < count; ++c) {
      sum[c] += kernel[c] * taken[planish_interpolator_column(from + c)];
    }
  }
  for (uint32_t c = 0; c < count; ++c) {
    sums[c] = sum[c];
  }
}

/* The same, two lanes at a time. */
PLANISH_INLINED void planish_interpolator_sweep_two(const PlanishTwo *kernel, const double *past,
                                                    double *sums, uint32_t taps, uint32_t ratio,
                                                    uint32_t from, uint32_t count)
{
  PlanishTwo sum[PLANISH_INTERPOLATOR_SWEEP] = {{0.0}};
  const double *front = past;
  const double *back = past + taps - 1;
  kernel += (size_t)2 * from;
  for (uint32_t k = 0; k < taps / 2; ++k, ++front, --back, kernel += (size_t)2 * ratio) {
    const PlanishTwo older = planish_two_load(front);
    const PlanishTwo newer = planish_two_load(back);
    const PlanishTwo taken[] = {older + planish_two_load(back - 1), older + newer, older - newer};
    for (uint32_t c = 0; c < count; ++c) {
      sum[c] += kernel[(size_t)2 * c] * taken[planish_interpolator_column(from + c)];
    }
  }
  for (uint32_t c = 0; c < count; ++c) {
    memcpy(sums + (size_t)PLANISH_LANES * c, sum + c, sizeof *sum);
  }
}

PLANISH_INLINED void planish_interpolator_some(const double *kernel, const double *past,
                                               PlanishFour *sums, uint32_t taps, uint32_t ratio,
                                               uint32_t from, uint32_t count, bool wide)
{
  if (wide) {
    planish_interpolator_sweep((const PlanishFour *)(const void *)kernel, past, sums + from, taps,
                               ratio, from, count);
    return;
  }
  double found[PLANISH_INTERPOLATOR_SWEEP * PLANISH_LANES];
  for (uint32_t lane = 0; lane < PLANISH_LANES; lane += 2) {
    planish_interpolator_sweep_two((const PlanishTwo *)(const void *)kernel, past + lane,
                                   found + lane, taps, ratio, from, count);
  }
  memcpy(sums + from, found, count * sizeof *sums);
}

/* All columns. No loop, so that each sweep's place is a constant for sure. */
PLANISH_INLINED void planish_interpolator_sums(const double *kernel, const double *past,
                                               PlanishFour *sums, uint32_t taps, uint32_t ratio,
                                               bool wide)
{
  enum { SWEEP = PLANISH_INTERPOLATOR_SWEEP };
  if (ratio <= SWEEP) {
    planish_interpolator_some(kernel, past, sums, taps, ratio, 0, ratio, wide);
  } else {
    planish_interpolator_some(kernel, past, sums, taps, ratio, 0, SWEEP, wide);
    planish_interpolator_some(kernel, past, sums, taps, ratio, SWEEP, ratio - SWEEP, wide);
  }
}

/* The points of four frames: fine[phase][lane]. past: the span of the first of them, oldest first;
 * those of the others follow, so taps + 3 frames are read. The kernel: aligned to 32 bytes. */
PLANISH_INLINED void planish_interpolate_four(const double *kernel, const double *past,
                                              PlanishFour *fine, uint32_t taps, uint32_t ratio,
                                              bool wide)
{
  PlanishFour sums[16];
  planish_interpolator_sums(kernel, past, sums, taps, ratio, wide);
  fine[0] = sums[0];
  fine[ratio / 2] = sums[1];
  const PlanishFour *halves = sums + 2;
  for (uint32_t p = 1; p < ratio / 2; ++p, halves += 2) {
    fine[p] = halves[0] + halves[1];
    fine[ratio - p] = halves[0] - halves[1];
  }
}

/* Phase 0 alone, with the same bits. */
PLANISH_INLINED PlanishFour planish_interpolate_first(const double *kernel, const double *past,
                                                      uint32_t taps, uint32_t ratio, bool wide)
{
  PlanishFour sum;
  planish_interpolator_some(kernel, past, &sum, taps, ratio, 0, 1, wide);
  return sum;
}

#endif
