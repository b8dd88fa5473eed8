#include "plugins/dynamics/controls.h"

#include "common/dsp/side_chain.h"

#include <string.h>

void planish_dynamics_controls_setup(PlanishDynamicsControls *controls, PlanishArena *arena,
                                     double rate)
{
  controls->rate = rate;
  planish_glides_setup(controls->glide, PLANISH_DYNAMICS_GLIDES, arena, rate);
}

void planish_dynamics_controls_set(PlanishDynamicsControls *controls,
                                   const PlanishDynamicsValues *values, bool at_once)
{
  double targets[PLANISH_DYNAMICS_GLIDES];
  memcpy(targets, values, sizeof targets);
  planish_glides_set(controls->glide, PLANISH_DYNAMICS_GLIDES, targets, at_once);
  controls->moving = true;
}

static void follow_filters(PlanishDynamicsControls *controls)
{
  const PlanishDynamicsValues *now = &controls->now;
  double *made_of = controls->made_of;
  if (now->band_frequency != made_of[0]) {
    made_of[0] = now->band_frequency;
    controls->band_tangent =
        planish_side_chain_tangent(planish_exp2(now->band_frequency), controls->rate);
  }
  if (now->band_q != made_of[1] || controls->q == 0.0) {
    made_of[1] = now->band_q;
    controls->q = planish_exp2(now->band_q);
  }
  if (now->high_pass != made_of[2]) {
    made_of[2] = now->high_pass;
    controls->high_pass_tangent =
        planish_side_chain_tangent(planish_exp2(now->high_pass), controls->rate);
  }
}

bool planish_dynamics_controls_next(PlanishDynamicsControls *controls)
{
  if (!controls->moving) {
    return false;
  }
  controls->moving = planish_glides_next(controls->glide, PLANISH_DYNAMICS_GLIDES, controls->value);
  follow_filters(controls);
  return true;
}
