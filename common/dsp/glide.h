/* A control on its way from where it was to where it was set, without zipper noise.
 *
 * The value set at grid frames (every PLANISH_GRID frames) is smoothed by two moving means in a
 * row, each half of `ms` long. So a step becomes an S-shaped curve that ends exactly on its target
 * after `ms`, with no jump in value or slope, and a control that is automated on every grid frame
 * is followed with a constant delay of ms/2. Between grid frames the curve is a parabola, computed
 * per frame by two additions.
 *
 * Use: planish_glide_set() at grid frames only. While planish_glide_is_moving(), call
 * planish_glide_next() once for every frame; it need not be called while the value stands still.
 * Glide quantities in the scale that the ear hears: gains in dB, frequencies in octaves.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_GLIDE_H
#define PLANISH_DSP_GLIDE_H

#include "common/dsp/arena.h"
#include "common/dsp/grid.h"

#include <stdbool.h>
#include <stdint.h>

/* The usual time of a glide and of a cross-fade. */
#define PLANISH_GLIDE_MS 20.0

typedef struct {
  double *means;    /* the first moving mean on the last half+1 grid frames, a ring */
  double *targets;  /* the value set on the last half+1 grid frames, a ring */
  double value;     /* at this frame */
  double slope;     /* change to the next frame */
  double curvature; /* change of the slope a frame */
  double target;
  uint32_t half;  /* length of each mean, in grid frames */
  uint32_t at;    /* place in the rings */
  uint32_t frame; /* frames since the last grid frame */
  uint32_t left;  /* grid frames until the value stands on its target; 0: it does */
} PlanishGlide;

/* Rate > 0; ms > 0. */
void planish_glide_setup(PlanishGlide *glide, PlanishArena *arena, double rate, double ms);

/* Stands on `value` at once. For reset. */
void planish_glide_jump(PlanishGlide *glide, double value);

/* Heads for `target` from this grid frame on. */
void planish_glide_set(PlanishGlide *glide, double target);

static inline bool planish_glide_is_moving(const PlanishGlide *glide)
{
  return glide->left != 0;
}

/* The value at this frame; moves on to the next frame. */
double planish_glide_next(PlanishGlide *glide);

/* Moves on by `frames` at once and returns the value there, as that many calls of next() would but
 * for rounding. Does not cross a grid frame, but may end on one. */
double planish_glide_skip(PlanishGlide *glide, uint32_t frames);

#endif
