#include "plugins/stereo-depth/controls.h"

#include "common/dsp/maths.h"
#include "common/dsp/side_chain.h"

#include <string.h>

void planish_depth_controls_setup(PlanishDepthControls *controls, PlanishArena *arena, double rate)
{
  controls->rate = rate;
  for (int i = 0; i < PLANISH_DEPTH_GLIDES; ++i) {
    planish_glide_setup(&controls->glide[i], arena, rate, PLANISH_GLIDE_MS);
  }
}

void planish_depth_controls_set(PlanishDepthControls *controls, const PlanishDepthValues *values,
                                bool at_once)
{
  double targets[PLANISH_DEPTH_GLIDES];
  memcpy(targets, values, sizeof targets);
  for (int i = 0; i < PLANISH_DEPTH_GLIDES; ++i) {
    if (at_once) {
      planish_glide_jump(&controls->glide[i], targets[i]);
    } else {
      planish_glide_set(&controls->glide[i], targets[i]);
    }
  }
  controls->moving = true;
}

void planish_depth_controls_next(PlanishDepthControls *controls)
{
  if (!controls->moving) {
    return;
  }
  controls->moving = false;
  for (int i = 0; i < PLANISH_DEPTH_GLIDES; ++i) {
    controls->moving = controls->moving || planish_glide_is_moving(&controls->glide[i]);
    controls->value[i] = planish_glide_next(&controls->glide[i]);
  }
  for (int n = 0; n < 2; ++n) {
    if (controls->now.crossover[n] != controls->made_of[n]) {
      controls->made_of[n] = controls->now.crossover[n];
      controls->tangent[n] =
          planish_side_chain_tangent(planish_exp2(controls->made_of[n]), controls->rate);
      controls->steps[n] = planish_band_split_steps(controls->tangent[n]);
    }
  }
}
