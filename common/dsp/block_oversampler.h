/* The filters of oversampler.h on blocks, four frames side by side, and by half of the products:
 * phases that mirror each other share them. The results differ from those of oversampler.h by
 * rounding alone, and do not depend on where blocks begin.
 *
 * Up: interpolator.h. Down, each frame of fine samples adds what it gives to all the results that
 * it reaches, so that frames of zeros cost nothing. The down filter is even about the middle of its
 * span for fine samples taken half a sample early (the shift of -0.5, always on here): with the
 * phases of a frame numbered from 0,
 *
 *   down[p][age] = down[ratio + 1 - p][31 - age],   p = 2..ratio - 1
 *
 * so the pairs' sums and differences need one product each for two results. Phases 0 and 1 mirror
 * each other a frame apart and, cut off at the span's end, not quite: theirs are taken plainly.
 *
 * Thread: one at a time for a PlanishBlockDecimator; a PlanishBlockOversampler is constant after
 * set-up and may be shared. All but set-up is real-time safe. */
#ifndef PLANISH_DSP_BLOCK_OVERSAMPLER_H
#define PLANISH_DSP_BLOCK_OVERSAMPLER_H

#include "common/dsp/glide.h"
#include "common/dsp/interpolator.h"
#include "common/dsp/oversampler.h"

/* Stretches of four frames that the fine samples of four frames, and of the frame before them,
 * look back on. */
#define PLANISH_REACH ((PLANISH_OVERSAMPLER_TAPS + PLANISH_LANES) / PLANISH_LANES)

typedef struct {
  double *up;                  /* as interpolator.h has it */
  double *down;                /* [half the taps][ratio + 2][lanes] */
  double peak_gain;            /* as in PlanishOversampler */
  double reach[PLANISH_REACH]; /* no fine sample of four frames in a row, nor of the one before
                                  them, is larger than the sum of these times the largest input of
                                  each stretch, oldest first */
  uint32_t ratio;
} PlanishBlockOversampler;

/* What fine samples give to results that are still to come. The sums of a result are kept in four
 * rows, by their age in frames mod 4: then each row is written and read by whole registers. */
enum {
  PLANISH_DECIMATOR_PAD = PLANISH_LANES,
  PLANISH_DECIMATOR_ROW = PLANISH_DECIMATOR_PAD + PLANISH_GRID + PLANISH_OVERSAMPLER_TAPS
};

typedef struct {
  double *rows;     /* [4][ROW]: of age r, at place i, for the result i - PAD + r frames on */
  uint32_t pending; /* frames until all results are 0 */
} PlanishBlockDecimator;

/* Ratio 4, 8 or 16. */
void planish_block_oversampler_setup(PlanishBlockOversampler *filters, PlanishArena *arena,
                                     uint32_t ratio);

void planish_block_decimator_setup(PlanishBlockDecimator *decimator, PlanishArena *arena);
void planish_block_decimator_reset(PlanishBlockDecimator *decimator);

/* The fine samples of the frames at..at + 3 of this block, fine[phase][lane]; of frames beyond the
 * block they must be 0. `at`: a multiple of 4. At most once for each `at`, and in their order.
 * `ratio` is that of the filters, a constant where this is called. */
PLANISH_INLINED void planish_block_decimator_add(PlanishBlockDecimator *decimator,
                                                 const PlanishBlockOversampler *filters,
                                                 const PlanishFour *fine, uint32_t at,
                                                 uint32_t ratio)
{
  const PlanishFour *h = (const PlanishFour *)(const void *)filters->down;
  const uint32_t pairs = ratio / 2 - 1;
  PlanishFour sum[PLANISH_OVERSAMPLER_MAX_RATIO / 2 - 1];
  PlanishFour difference[PLANISH_OVERSAMPLER_MAX_RATIO / 2 - 1];
  for (uint32_t p = 0; p < pairs; ++p) {
    sum[p] = fine[2 + p] + fine[ratio - 1 - p];
    difference[p] = fine[2 + p] - fine[ratio - 1 - p];
  }
  double *const here = decimator->rows + PLANISH_DECIMATOR_PAD + at;
  for (uint32_t age = 0; age < PLANISH_OVERSAMPLER_TAPS / 2; ++age, h += ratio + 2) {
    const uint32_t late = PLANISH_OVERSAMPLER_TAPS - 1 - age;
    PlanishFour even = h[4] * sum[0];
    PlanishFour odd = h[5] * difference[0];
    for (uint32_t p = 1; p < pairs; ++p) {
      even += h[4 + 2 * p] * sum[p];
      odd += h[5 + 2 * p] * difference[p];
    }
    const PlanishFour now = (h[0] * fine[0] + h[1] * fine[1]) + (even + odd);
    const PlanishFour then = (h[2] * fine[0] + h[3] * fine[1]) + (even - odd);
    double *const soon = here + (size_t)(age % 4) * PLANISH_DECIMATOR_ROW + (size_t)(age / 4) * 4;
    double *const later =
        here + (size_t)(late % 4) * PLANISH_DECIMATOR_ROW + (size_t)(late / 4) * 4;
    planish_four_store(soon, planish_four_load(soon) + now);
    planish_four_store(later, planish_four_load(later) + then);
  }
  decimator->pending = at + PLANISH_LANES + PLANISH_OVERSAMPLER_TAPS;
}

/* The block's results, 1..PLANISH_GRID frames, once all its fine samples are added; moves on by as
 * many. False: they are all 0, and not written. */
bool planish_block_decimator_take(PlanishBlockDecimator *decimator, double *results,
                                  uint32_t frames);

#endif
