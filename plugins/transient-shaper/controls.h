/* The controls that glide, and where they stand at a frame.
 *
 * Real-time safe, but for setup. */
#ifndef PLANISH_TRANSIENT_SHAPER_CONTROLS_H
#define PLANISH_TRANSIENT_SHAPER_CONTROLS_H

#include "common/dsp/glides.h"

typedef struct {
  double attack_gain;    /* dB */
  double sustain_gain;   /* dB */
  double onset_range;    /* dB */
  double band_frequency; /* log2 of Hz */
} PlanishShaperValues;

enum { PLANISH_SHAPER_GLIDES = sizeof(PlanishShaperValues) / sizeof(double) };

typedef struct {
  union {
    PlanishShaperValues now;
    double value[PLANISH_SHAPER_GLIDES];
  };
  PlanishGlide glide[PLANISH_SHAPER_GLIDES];
  bool moving;
  double band_tangent; /* of the frequency, in the form that filters want */
  double made_of;
  double rate;
} PlanishShaperControls;

void planish_shaper_controls_setup(PlanishShaperControls *controls, PlanishArena *arena,
                                   double rate);

/* Heads for `values`, or stands on them at once. At grid frames. */
void planish_shaper_controls_set(PlanishShaperControls *controls, const PlanishShaperValues *values,
                                 bool at_once);

/* Takes the values of the next frame; true if one may have changed. */
bool planish_shaper_controls_next(PlanishShaperControls *controls);

#endif
