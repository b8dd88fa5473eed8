/* The form in which the gain is applied: a filter of common/dsp/dynamic_band.h, and a second one to
 * cross-fade to when the type of band changes. A change during a cross-fade waits for its end.
 *
 * All zero but `fade` is a band of type full. Real-time safe. */
#ifndef PLANISH_BAND_FORM_H
#define PLANISH_BAND_FORM_H

#include "common/dsp/crossfade.h"
#include "common/dsp/dynamic_band.h"

typedef struct {
  PlanishDynamicBand voice[2];
  unsigned current; /* the voice that stays when the fade is over */
  PlanishBandType wanted;
  PlanishCrossfade fade;
} PlanishBandForm;

void planish_band_form_setup(PlanishBandForm *form, double rate);

/* From silence. */
void planish_band_form_jump(PlanishBandForm *form, PlanishBandType type);

/* At every grid frame, after `wanted` has been set; x: the first frame. */
void planish_band_form_grid(PlanishBandForm *form, PlanishTwo x);

/* The detector's side of it, at the same share of the new type. */
PlanishSvfCoefs planish_band_form_side_chain(const PlanishBandForm *form, double share,
                                             double tangent, double q);

/* 1..PLANISH_GRID frames, in place: gain[lane][frame] in dB, audio[lane][frame]. `share`: of the
 * current voice; while it moves, a frame at a time. */
void planish_band_form_process(PlanishBandForm *form, const double *const gain[2], double tangent,
                               double q, double share, double *const audio[2], uint32_t frames);

#endif
