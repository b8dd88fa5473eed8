#include "plugins/stereo-depth/placement.h"

#define SHELF_Q 0.70710678118 /* the steepest that does not overshoot */

void planish_placement_reset(PlanishPlacement *placement)
{
  const PlanishTwo silence = planish_both(0.0);
  planish_dynamic_band_start(&placement->whole, PLANISH_BAND_FULL, silence);
  planish_dynamic_band_start(&placement->low, PLANISH_BAND_LOW_SHELF, silence);
  planish_dynamic_band_start(&placement->high, PLANISH_BAND_HIGH_SHELF, silence);
}

/* By which an outer band is moved further than the middle. */
static void process_shelf(PlanishDynamicBand *shelf, const PlanishDepthBands *gains, int band,
                          double tangent, double *const audio[2], uint32_t frames)
{
  double side[PLANISH_GRID];
  double mid[PLANISH_GRID];
  for (uint32_t i = 0; i < frames; ++i) {
    side[i] = gains->side[band][i] - gains->side[PLANISH_DEPTH_MIDDLE][i];
    mid[i] = gains->mid[band][i] - gains->mid[PLANISH_DEPTH_MIDDLE][i];
  }
  planish_dynamic_band_process(shelf, (const double *const[2]){side, mid}, tangent, SHELF_Q, audio,
                               frames);
}

void planish_placement_process(PlanishPlacement *placement, const PlanishDepthBands *gains,
                               double low_tangent, double high_tangent, double *const audio[2],
                               uint32_t frames)
{
  const double *const middle[2] = {gains->side[PLANISH_DEPTH_MIDDLE],
                                   gains->mid[PLANISH_DEPTH_MIDDLE]};
  planish_dynamic_band_process(&placement->whole, middle, low_tangent, SHELF_Q, audio, frames);
  process_shelf(&placement->low, gains, PLANISH_DEPTH_LOW, low_tangent, audio, frames);
  process_shelf(&placement->high, gains, PLANISH_DEPTH_HIGH, high_tangent, audio, frames);
}
