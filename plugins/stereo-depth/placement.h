/* A gain of its own for each of three bands, on side and mid at once: a plain gain for the middle,
 * and shelves at the crossovers for what the outer bands differ from it (dynamic_band.h). Of
 * minimum phase, without the dents that a split into bands and their sum would have; where all
 * gains are 0 dB the result is the input, bit for bit.
 *
 * Lane 0 is the side, lane 1 the mid. Thread: one at a time. Real-time safe. */
#ifndef PLANISH_STEREO_DEPTH_PLACEMENT_H
#define PLANISH_STEREO_DEPTH_PLACEMENT_H

#include "common/dsp/dynamic_band.h"
#include "plugins/stereo-depth/band_split.h"

typedef struct {
  PlanishDynamicBand whole;
  PlanishDynamicBand low;
  PlanishDynamicBand high;
} PlanishPlacement;

/* From silence. */
void planish_placement_reset(PlanishPlacement *placement);

/* 1..PLANISH_GRID frames of side and mid, in place; gains in dB, by band. */
void planish_placement_process(PlanishPlacement *placement, const PlanishDepthBands *gains,
                               double low_tangent, double high_tangent, double *const audio[2],
                               uint32_t frames);

#endif
