/* The clipper's three passes of clip-and-filter on one or two channels, at any of three ratios of
 * oversampling, one cross-faded into another.
 *
 * A change of ratio: a second set of engines starts on the past that all share, takes a grid
 * interval to fill its filters, then takes over within PLANISH_GLIDE_MS. What was asked for
 * meanwhile comes next.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_CLIPPER_PASSES_H
#define PLANISH_CLIPPER_PASSES_H

#include "common/dsp/clip_pass.h"
#include "common/dsp/crossfade.h"
#include "common/dsp/glide.h"

enum { CLIPPER_RATIOS = 3, CLIPPER_PASSES = 3 };

typedef struct {
  PlanishBlockOversampler filters[CLIPPER_RATIOS]; /* 4, 8, 16 */
  PlanishClipPass pass[CLIPPER_PASSES][2];
  PlanishCrossfade fade;                     /* from the engines in use to the others */
  double other_share[PLANISH_GRID];          /* of this block */
  uint32_t ratio[PLANISH_CLIP_PASS_ENGINES]; /* index into `filters` */
  uint32_t current;                          /* engine in use */
  enum { CLIPPER_STEADY, CLIPPER_FILLING, CLIPPER_FADING } change;
} ClipperPasses;

void clipper_passes_setup(ClipperPasses *passes, PlanishArena *arena, double rate);

/* Forgets all history and stands on a ratio (an index). */
void clipper_passes_reset(ClipperPasses *passes, uint32_t ratio);

/* One pass starts on silence, on both channels. */
void clipper_passes_restart(ClipperPasses *passes, uint32_t pass);

/* At grid frames; `ratio` is what is wanted. */
void clipper_passes_at_grid(ClipperPasses *passes, uint32_t ratio);

/* Before the passes of a block. */
void clipper_passes_begin(ClipperPasses *passes, uint32_t frames);

/* One pass on one channel: audio is delayed by PLANISH_CLIP_PASS_DELAY, and `weight` times the
 * residue is taken off. peaks[frame], PLANISH_GRID of them, is raised as
 * planish_clip_pass_residues() does. */
void clipper_passes_run(ClipperPasses *passes, uint32_t pass, uint32_t channel, double weight,
                        const PlanishClipCurves *curves, double *audio, double *peaks,
                        uint32_t frames);

#endif
