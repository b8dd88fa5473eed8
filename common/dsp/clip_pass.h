/* One pass of clip-and-filter on one channel, in residue form: what the curve takes away from the
 * oversampled signal, brought back to the base rate.
 *
 * A pass holds two engines, so that one oversampling ratio can be cross-faded into another: each
 * works at its own ratio on the same past. Clipping once and filtering lets the peaks grow back;
 * passes in a row on the result, the later residues doubled, bring them back down (repeated
 * clipping and filtering: Armstrong 2002, from memory; Bae, Andrews, Powers 2010).
 *
 * Where nothing near a frame can reach the curve, no filter runs; the bits are the same as if they
 * all did.
 *
 * Thread: one at a time. All but set-up is real-time safe. */
#ifndef PLANISH_DSP_CLIP_PASS_H
#define PLANISH_DSP_CLIP_PASS_H

#include "common/dsp/clip_curve.h"
#include "common/dsp/oversampler.h"

#include <stdbool.h>

/* Frames from input to the residue that belongs to it, and to planish_clip_pass_delayed(). */
#define PLANISH_CLIP_PASS_DELAY PLANISH_OVERSAMPLER_DELAY

#define PLANISH_CLIP_PASS_ENGINES 2

typedef struct {
  PlanishDecimator decimator;
  double last;     /* the fine sample before this frame's first */
  bool knows_last; /* false: nobody needed it */
} PlanishClipEngine;

typedef struct {
  double *past; /* the last frames, twice over, so that a span of them always lies in one piece */
  uint32_t at;
  double largest; /* magnitude within the span of the filter */
  PlanishClipEngine engines[PLANISH_CLIP_PASS_ENGINES];
} PlanishClipPass;

void planish_clip_pass_setup(PlanishClipPass *pass, PlanishArena *arena);

void planish_clip_pass_reset(PlanishClipPass *pass);

/* An engine starts afresh, as when its ratio changes. Its residue is right from
 * PLANISH_OVERSAMPLER_TAPS frames on. */
void planish_clip_pass_restart(PlanishClipPass *pass, uint32_t engine);

/* The next frame of input. */
void planish_clip_pass_push(PlanishClipPass *pass, double x);

/* The input PLANISH_CLIP_PASS_DELAY frames ago. */
double planish_clip_pass_delayed(const PlanishClipPass *pass);

/* To be called once for each frame pushed while the engine is in use. The filters must have been
 * set up with a shift of -0.5. Raises *peak to the largest fine magnitude of the newest frame if
 * that lies beyond the curve's start. */
double planish_clip_pass_residue(PlanishClipPass *pass, uint32_t engine,
                                 const PlanishOversampler *filters, const PlanishClipCurve *curve,
                                 double *peak);

#endif
