/* The controls that glide, and where they stand at a frame.
 *
 * Real-time safe, but for setup. */
#ifndef PLANISH_STEREO_DEPTH_CONTROLS_H
#define PLANISH_STEREO_DEPTH_CONTROLS_H

#include "common/dsp/glides.h"
#include "plugins/stereo-depth/band_split.h"

typedef struct {
  double lift[PLANISH_DEPTH_BANDS];       /* dB, amount included */
  double saturation[PLANISH_DEPTH_BANDS]; /* 0..1, likewise */
  double pan[PLANISH_DEPTH_BANDS];        /* -1..1, likewise; that of the low band is 0 */
  double crossover[2];                    /* log2 of Hz; the second is not under the first */
} PlanishDepthValues;

enum { PLANISH_DEPTH_GLIDES = sizeof(PlanishDepthValues) / sizeof(double) };

typedef struct {
  union {
    PlanishDepthValues now;
    double value[PLANISH_DEPTH_GLIDES];
  };
  PlanishGlide glide[PLANISH_DEPTH_GLIDES];
  bool moving;
  /* Of the crossovers, in the forms that filters want, and what they were made of. */
  double tangent[2];
  PlanishSvfSteps steps[2];
  double made_of[2];
  double rate;
} PlanishDepthControls;

void planish_depth_controls_setup(PlanishDepthControls *controls, PlanishArena *arena, double rate);

/* Heads for `values`, or stands on them at once. At grid frames. */
void planish_depth_controls_set(PlanishDepthControls *controls, const PlanishDepthValues *values,
                                bool at_once);

/* Takes the values of the next frame. */
void planish_depth_controls_next(PlanishDepthControls *controls);

#endif
