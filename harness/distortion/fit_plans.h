/* Lengths and transforms that a fit of the three tiers works with: made once, shared by threads.
 *
 * All lengths are multiples of one unit of about 5.3 ms (256 frames at 48 kHz), a power of two that
 * follows the rate, so that all keep their time at every rate.
 *
 * A signal of two channels is one complex number a frame, mid + i side: a transform then serves
 * both. Thread: new and free from one at a time, as FFTW's planner asks; execution from any, on
 * buffers of planish_fit_buffer(). */
#ifndef PLANISH_HARNESS_FIT_PLANS_H
#define PLANISH_HARNESS_FIT_PLANS_H

#include <fftw3.h>
#include <stddef.h>

/* A frame, or a bin of the spectrum, of mid + i side. Laid out as fftw_complex. */
typedef struct {
  double re;
  double im;
} PlanishPair;

/* In units. A chunk of sound is looked at in one block: its core, and what the tiers need on either
 * side of it. */
enum {
  PLANISH_FIT_TAPS = 64,       /* of the linear tier, 0.34 s */
  PLANISH_FIT_AHEAD = 16,      /* of these lie ahead of time zero */
  PLANISH_FIT_MARGIN = 16,     /* beside the core, for the level tier */
  PLANISH_FIT_CORE = 160,      /* frames that a chunk answers for */
  PLANISH_FIT_BEFORE = 64,     /* read ahead of the core: margin and taps */
  PLANISH_FIT_BLOCK = 256,     /* BEFORE + CORE + MARGIN + AHEAD */
  PLANISH_FIT_LEVEL_FRAME = 4, /* of the level tier, one unit apart */
  PLANISH_FIT_LEVEL_NODE = 5,  /* from gain to gain: 27 ms; divides CORE */
  PLANISH_FIT_MASK_FRAME = 8,  /* of the masking model, */
  PLANISH_FIT_MASK_HOP = 4,    /* half of it apart; divides CORE */
};

typedef struct {
  double rate;
  size_t unit; /* frames */
  fftw_plan block_forward;
  fftw_plan block_back;
  fftw_plan filter_forward; /* of twice the taps */
  fftw_plan filter_back;
  fftw_plan level_forward;
  fftw_plan level_back;
  fftw_plan mask_forward;
} PlanishFitPlans;

/* NULL without memory. */
PlanishFitPlans *planish_fit_plans_new(double rate);
/* NULL is allowed. */
void planish_fit_plans_free(PlanishFitPlans *plans);

/* So many zeros, in the alignment that the plans expect; fftw_free() gives them back. NULL without
 * memory. */
PlanishPair *planish_fit_buffer(size_t count);

/* Transforms in place; no scaling either way. */
void planish_fit_run(fftw_plan plan, PlanishPair *buffer);

/* The spectra of mid and side at a bin, from the pair's bin and that of the opposite frequency. */
static inline void planish_pair_open(PlanishPair here, PlanishPair opposite, PlanishPair *mid,
                                     PlanishPair *side)
{
  *mid = (PlanishPair){0.5 * (here.re + opposite.re), 0.5 * (here.im - opposite.im)};
  *side = (PlanishPair){0.5 * (here.im + opposite.im), 0.5 * (opposite.re - here.re)};
}

#endif
