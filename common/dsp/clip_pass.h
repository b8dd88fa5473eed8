/* One pass of clip-and-filter on one channel, in residue form: what the curve takes away from the
 * oversampled signal, brought back to the base rate. Worked on in blocks.
 *
 * A pass holds two engines, so that one oversampling ratio can be cross-faded into another: each
 * works at its own ratio on the same past. Clipping once and filtering lets the peaks grow back;
 * passes in a row on the result, the later residues doubled, bring them back down (repeated
 * clipping and filtering: Armstrong 2002, from memory; Bae, Andrews, Powers 2010).
 *
 * Where nothing near some frames can reach the curve, no filter runs; the bits are the same as if
 * they all did. Where nothing in a whole block can, it costs hardly more than keeping its past.
 *
 * Thread: one at a time. All but set-up is real-time safe. */
#ifndef PLANISH_DSP_CLIP_PASS_H
#define PLANISH_DSP_CLIP_PASS_H

#include "common/dsp/block_oversampler.h"
#include "common/dsp/clip_curve.h"
#include "common/dsp/recent_peak.h"

#include <stdbool.h>

/* Frames from input to the residue that belongs to it, and to planish_clip_pass_delayed(). */
#define PLANISH_CLIP_PASS_DELAY PLANISH_OVERSAMPLER_DELAY

#define PLANISH_CLIP_PASS_ENGINES 2

/* Frames of the past kept before a block: the span of the four frames before it. */
#define PLANISH_CLIP_PASS_PAST (PLANISH_OVERSAMPLER_TAPS + PLANISH_LANES)

typedef struct {
  PlanishBlockDecimator decimator;
  double last;     /* the fine sample before the next frame's first */
  bool knows_last; /* false: nobody needed it */
} PlanishClipEngine;

typedef struct {
  double *past; /* PLANISH_CLIP_PASS_PAST frames, then the block */
  PlanishRecentPeak recent;
  double largest;  /* no magnitude of all of them is larger */
  uint32_t frames; /* of the block */
  PlanishClipEngine engines[PLANISH_CLIP_PASS_ENGINES];
} PlanishClipPass;

void planish_clip_pass_setup(PlanishClipPass *pass, PlanishArena *arena);

void planish_clip_pass_reset(PlanishClipPass *pass);

/* An engine starts afresh, as when its ratio changes. Its residue is right from
 * PLANISH_OVERSAMPLER_TAPS frames on. */
void planish_clip_pass_restart(PlanishClipPass *pass, uint32_t engine);

/* The next block of input, 1..PLANISH_GRID frames. */
void planish_clip_pass_push(PlanishClipPass *pass, const double *audio, uint32_t frames);

/* The block's frames, PLANISH_CLIP_PASS_DELAY frames late. */
static inline const double *planish_clip_pass_delayed(const PlanishClipPass *pass)
{
  return pass->past + PLANISH_CLIP_PASS_PAST - PLANISH_CLIP_PASS_DELAY;
}

/* To be called once for each block pushed while the engine is in use. Raises peaks[frame]
 * to the largest fine magnitude of each frame if that lies beyond its curve's start; `peaks`:
 * PLANISH_GRID of them. False: all residues are 0, and not written. */
bool planish_clip_pass_residues(PlanishClipPass *pass, uint32_t engine,
                                const PlanishBlockOversampler *filters,
                                const PlanishClipCurves *curves, double *peaks, double *residues);

#endif
