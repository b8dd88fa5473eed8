#include "common/dsp/block_oversampler.h"

#include "common/dsp/maths.h"

enum {
  TAPS = PLANISH_OVERSAMPLER_TAPS,
  MOST = TAPS * PLANISH_OVERSAMPLER_MAX_RATIO,
  ROW = PLANISH_DECIMATOR_ROW,
  ROWS = 4
};

/* Antiderivative antialiasing comes half a fine sample late. */
static const double SHIFT = -0.5;

/* One factor of the down filter for one age; columns as planish_block_decimator_add() reads them.
 */
static double down_factor(const double *down, uint32_t ratio, uint32_t age, uint32_t column)
{
  /* `down` has the oldest frame first. */
  const double *const young = down + (size_t)(TAPS - 1 - age) * ratio;
  const double *const old = down + (size_t)age * ratio;
  if (column < 4) {
    return column < 2 ? young[column] : old[column - 2];
  }
  const uint32_t phase = column / 2;
  return column % 2 == 0 ? 0.5 * (young[phase] + old[phase]) : 0.5 * (young[phase] - old[phase]);
}

static void lay_down(PlanishBlockOversampler *filters, const double *down)
{
  double *to = filters->down;
  for (uint32_t age = 0; age < TAPS / 2; ++age) {
    for (uint32_t column = 0; column < filters->ratio + 2; ++column) {
      for (uint32_t lane = 0; lane < PLANISH_LANES; ++lane) {
        *to++ = down_factor(down, filters->ratio, age, column);
      }
    }
  }
}

/* For each stretch the most that one frame's phase can take of it: the frame's span begins `frame`
 * frames into the first. */
static void find_reach(PlanishBlockOversampler *filters, const double *up)
{
  memset(filters->reach, 0, sizeof filters->reach);
  for (uint32_t frame = 0; frame <= PLANISH_LANES; ++frame) {
    for (uint32_t p = 0; p < filters->ratio; ++p) {
      double taken[PLANISH_REACH + 1] = {0.0};
      for (uint32_t k = 0; k < TAPS; ++k) {
        taken[(frame + k) / PLANISH_LANES] += fabs(up[k * filters->ratio + p]);
      }
      for (uint32_t s = 0; s < PLANISH_REACH; ++s) {
        /* A little more, for the rounding of the filter itself. */
        filters->reach[s] = planish_max(filters->reach[s], taken[s] * (1.0 + 1e-12));
      }
    }
  }
}

void planish_block_oversampler_setup(PlanishBlockOversampler *filters, PlanishArena *arena,
                                     uint32_t ratio)
{
  double up[MOST];
  double down[MOST];
  filters->ratio = ratio;
  filters->up = planish_arena_take(arena, PLANISH_INTERPOLATOR_SIZE(TAPS, ratio), sizeof(double));
  filters->down =
      planish_arena_take(arena, (size_t)TAPS / 2 * (ratio + 2) * PLANISH_LANES, sizeof(double));
  if (!planish_arena_is_filling(arena)) {
    return;
  }
  filters->peak_gain = planish_oversampler_design(up, down, ratio, SHIFT);
  planish_interpolator_lay(filters->up, up, TAPS, ratio);
  lay_down(filters, down);
  find_reach(filters, up);
}

void planish_block_decimator_setup(PlanishBlockDecimator *decimator, PlanishArena *arena)
{
  *decimator = (PlanishBlockDecimator){0};
  decimator->rows = planish_arena_take(arena, (size_t)ROWS * ROW, sizeof(double));
}

void planish_block_decimator_reset(PlanishBlockDecimator *decimator)
{
  memset(decimator->rows, 0, sizeof(double) * ROWS * ROW);
  decimator->pending = 0;
}

bool planish_block_decimator_take(PlanishBlockDecimator *decimator, double *results,
                                  uint32_t frames)
{
  if (decimator->pending == 0) {
    return false;
  }
  const double *const first = decimator->rows + PLANISH_DECIMATOR_PAD;
  for (uint32_t i = 0; i < frames; ++i) {
    const double *const sums = first + i;
    results[i] = (sums[0] + sums[ROW - 1]) + (sums[2 * ROW - 2] + sums[3 * ROW - 3]);
  }
  for (uint32_t r = 0; r < ROWS; ++r) {
    double *const row = decimator->rows + (size_t)r * ROW;
    memmove(row, row + frames, (ROW - frames) * sizeof(double));
    memset(row + ROW - frames, 0, frames * sizeof(double));
  }
  decimator->pending -= frames < decimator->pending ? frames : decimator->pending;
  return true;
}
