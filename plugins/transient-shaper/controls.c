#include "plugins/transient-shaper/controls.h"

#include "common/dsp/maths.h"
#include "common/dsp/side_chain.h"

#include <string.h>

void planish_shaper_controls_setup(PlanishShaperControls *controls, PlanishArena *arena,
                                   double rate)
{
  controls->rate = rate;
  for (int i = 0; i < PLANISH_SHAPER_GLIDES; ++i) {
    planish_glide_setup(&controls->glide[i], arena, rate, PLANISH_GLIDE_MS);
  }
}

void planish_shaper_controls_set(PlanishShaperControls *controls, const PlanishShaperValues *values,
                                 bool at_once)
{
  double targets[PLANISH_SHAPER_GLIDES];
  memcpy(targets, values, sizeof targets);
  for (int i = 0; i < PLANISH_SHAPER_GLIDES; ++i) {
    if (at_once) {
      planish_glide_jump(&controls->glide[i], targets[i]);
    } else {
      planish_glide_set(&controls->glide[i], targets[i]);
    }
  }
  controls->moving = true;
}

bool planish_shaper_controls_next(PlanishShaperControls *controls)
{
  if (!controls->moving) {
    return false;
  }
  controls->moving = false;
  for (int i = 0; i < PLANISH_SHAPER_GLIDES; ++i) {
    controls->moving = controls->moving || planish_glide_is_moving(&controls->glide[i]);
    controls->value[i] = planish_glide_next(&controls->glide[i]);
  }
  if (controls->now.band_frequency != controls->made_of) {
    controls->made_of = controls->now.band_frequency;
    controls->band_tangent =
        planish_side_chain_tangent(planish_exp2(controls->made_of), controls->rate);
  }
  return true;
}
