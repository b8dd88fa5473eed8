#include "plugins/stereo-depth/controls.h"

#include "common/dsp/maths.h"
#include "common/dsp/side_chain.h"

#include <string.h>

void planish_depth_controls_setup(PlanishDepthControls *controls, PlanishArena *arena, double rate)
{
  controls->rate = rate;
  planish_glides_setup(controls->glide, PLANISH_DEPTH_GLIDES, arena, rate);
}

void planish_depth_controls_set(PlanishDepthControls *controls, const PlanishDepthValues *values,
                                bool at_once)
{
  double targets[PLANISH_DEPTH_GLIDES];
  memcpy(targets, values, sizeof targets);
  planish_glides_set(controls->glide, PLANISH_DEPTH_GLIDES, targets, at_once);
  controls->moving = true;
}

void planish_depth_controls_next(PlanishDepthControls *controls)
{
  if (!controls->moving) {
    return;
  }
  controls->moving = planish_glides_next(controls->glide, PLANISH_DEPTH_GLIDES, controls->value);
  for (int n = 0; n < 2; ++n) {
    if (controls->now.crossover[n] != controls->made_of[n]) {
      controls->made_of[n] = controls->now.crossover[n];
      controls->tangent[n] =
          planish_side_chain_tangent(planish_exp2(controls->made_of[n]), controls->rate);
      controls->steps[n] = planish_band_split_steps(controls->tangent[n]);
    }
  }
}
