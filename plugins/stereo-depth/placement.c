#include "plugins/stereo-depth/placement.h"

#define SHELF_Q 0.70710678118 /* the steepest that does not overshoot */

void planish_placement_reset(PlanishPlacement *placement)
{
  const PlanishTwo silence = planish_both(0.0);
  planish_dynamic_band_start(&placement->whole, PLANISH_BAND_FULL, silence);
  planish_dynamic_band_start(&placement->low, PLANISH_BAND_LOW_SHELF, silence);
  planish_dynamic_band_start(&placement->high, PLANISH_BAND_HIGH_SHELF, silence);
}

PlanishTwo planish_placement_next(PlanishPlacement *placement,
                                  const PlanishTwo gains[PLANISH_DEPTH_BANDS], double low_tangent,
                                  double high_tangent, PlanishTwo x)
{
  const PlanishTwo middle = gains[PLANISH_DEPTH_MIDDLE];
  x = planish_dynamic_band_next(&placement->whole, middle, low_tangent, SHELF_Q, x);
  x = planish_dynamic_band_next(&placement->low, gains[PLANISH_DEPTH_LOW] - middle, low_tangent,
                                SHELF_Q, x);
  return planish_dynamic_band_next(&placement->high, gains[PLANISH_DEPTH_HIGH] - middle,
                                   high_tangent, SHELF_Q, x);
}
