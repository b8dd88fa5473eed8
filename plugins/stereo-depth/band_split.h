/* Side and mid in three bands, for what listens to them: slopes of 24 dB an octave, -6 dB at the
 * crossovers (Linkwitz 1976). Nothing of what is heard passes these filters but the residue that
 * saturation makes of them.
 *
 * Lane 0 is the side, lane 1 the mid. Thread: one at a time. Real-time safe. */
#ifndef PLANISH_STEREO_DEPTH_BAND_SPLIT_H
#define PLANISH_STEREO_DEPTH_BAND_SPLIT_H

#include "common/dsp/glide.h"
#include "common/dsp/svf.h"

enum { PLANISH_DEPTH_LOW, PLANISH_DEPTH_MIDDLE, PLANISH_DEPTH_HIGH, PLANISH_DEPTH_BANDS };

/* All zero is silence. */
typedef struct {
  PlanishSvf at_low;  /* the first section at the low crossover, both ways */
  PlanishSvf low;     /* the second below it */
  PlanishSvf above;   /* the second above it */
  PlanishSvf at_high; /* likewise at the high crossover, of what lies above the low one */
  PlanishSvf middle;
  PlanishSvf high;
} PlanishBandSplit;

/* By band and frame. */
typedef struct {
  double side[PLANISH_DEPTH_BANDS][PLANISH_GRID];
  double mid[PLANISH_DEPTH_BANDS][PLANISH_GRID];
} PlanishDepthBands;

/* 1..PLANISH_GRID frames. */
void planish_band_split_process(PlanishBandSplit *split, PlanishSvfSteps at_low,
                                PlanishSvfSteps at_high, const double *side, const double *mid,
                                PlanishDepthBands *bands, uint32_t frames);

/* The steps of a section at a tangent (planish_side_chain_tangent). */
PlanishSvfSteps planish_band_split_steps(double tangent);

#endif
