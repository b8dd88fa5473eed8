/* The controls that glide, and where they stand at a frame.
 *
 * Real-time safe, but for setup. */
#ifndef PLANISH_DYNAMICS_CONTROLS_H
#define PLANISH_DYNAMICS_CONTROLS_H

#include "common/dsp/dynamic_gain.h"
#include "common/dsp/glides.h"

typedef struct {
  PlanishGainLaw law;
  double band_frequency;  /* log2 of Hz */
  double band_q;          /* log2 */
  double high_pass;       /* log2 of Hz */
  double high_pass_share; /* 0: off, 1: on */
  double make_up;         /* the same */
} PlanishDynamicsValues;

enum { PLANISH_DYNAMICS_GLIDES = sizeof(PlanishDynamicsValues) / sizeof(double) };

typedef struct {
  union {
    PlanishDynamicsValues now;
    double value[PLANISH_DYNAMICS_GLIDES];
  };
  PlanishGlide glide[PLANISH_DYNAMICS_GLIDES];
  bool moving;
  /* Of frequencies and Q, in the form that filters want, and what they were made of. */
  double band_tangent;
  double q;
  double high_pass_tangent;
  double made_of[3];
  double rate;
} PlanishDynamicsControls;

void planish_dynamics_controls_setup(PlanishDynamicsControls *controls, PlanishArena *arena,
                                     double rate);

/* Heads for `values`, or stands on them at once. At grid frames. */
void planish_dynamics_controls_set(PlanishDynamicsControls *controls,
                                   const PlanishDynamicsValues *values, bool at_once);

/* Takes the values of the next frame; true if one may have changed. */
bool planish_dynamics_controls_next(PlanishDynamicsControls *controls);

#endif
