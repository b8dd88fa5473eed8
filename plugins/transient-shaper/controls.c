#include "plugins/transient-shaper/controls.h"

#include "common/dsp/maths.h"
#include "common/dsp/side_chain.h"

#include <string.h>

void planish_shaper_controls_setup(PlanishShaperControls *controls, PlanishArena *arena,
                                   double rate)
{
  controls->rate = rate;
  planish_glides_setup(controls->glide, PLANISH_SHAPER_GLIDES, arena, rate);
}

void planish_shaper_controls_set(PlanishShaperControls *controls, const PlanishShaperValues *values,
                                 bool at_once)
{
  double targets[PLANISH_SHAPER_GLIDES];
  memcpy(targets, values, sizeof targets);
  planish_glides_set(controls->glide, PLANISH_SHAPER_GLIDES, targets, at_once);
  controls->moving = true;
}

bool planish_shaper_controls_next(PlanishShaperControls *controls)
{
  if (!controls->moving) {
    return false;
  }
  controls->moving = planish_glides_next(controls->glide, PLANISH_SHAPER_GLIDES, controls->value);
  if (controls->now.band_frequency != controls->made_of) {
    controls->made_of = controls->now.band_frequency;
    controls->band_tangent =
        planish_side_chain_tangent(planish_exp2(controls->made_of), controls->rate);
  }
  return true;
}
