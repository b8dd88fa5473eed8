/* The low end to the middle without turning the image.
 *
 * The side signal loses its low end in a Linkwitz-Riley high-pass of fourth order (JAES 24, 1976);
 * the mid signal passes the second-order allpass that has the same phase, so that what is left of
 * the side keeps its place. Between 0 and 100 % the side is a mix of that allpass and the
 * high-pass, all in phase. When off, both are out, since the allpass is not neutral: on and off
 * are cross-faded.
 *
 * All functions but setup are real-time safe. */
#ifndef PLANISH_MS_EQ_MONO_BELOW_H
#define PLANISH_MS_EQ_MONO_BELOW_H

#include "common/dsp/crossfade.h"
#include "common/dsp/glide.h"
#include "common/dsp/svf.h"

typedef struct {
  double rate;
  PlanishGlide frequency; /* log2 of Hz */
  PlanishGlide amount;    /* 0..1 */
  PlanishCrossfade fade;  /* to the folded signal */
  PlanishCrossfade entry; /* of the signal into the filters, once they start */
  bool wanted;
  PlanishSvfSteps steps;
  PlanishSvf first;  /* lanes: mid, side */
  PlanishSvf second; /* lanes: low end of mid, high end of side */
  PlanishTwo power;  /* mean power of the low end, before: mid, side */
  double forgetting; /* of the mean, a frame */
} PlanishMonoBelow;

void planish_mono_below_setup(PlanishMonoBelow *mono, PlanishArena *arena, double rate);

/* Forgets all history and stands on the values. Frequency in Hz, > 0 and < rate/4; amount 0..1;
 * off also where the amount is 0. */
void planish_mono_below_jump(PlanishMonoBelow *mono, bool on, double frequency, double amount);

/* At a grid frame, before planish_mono_below_grid(). */
void planish_mono_below_set(PlanishMonoBelow *mono, bool on, double frequency, double amount);

/* At every grid frame. */
void planish_mono_below_grid(PlanishMonoBelow *mono);

/* False: changes nothing up to the next grid frame. */
static inline bool planish_mono_below_is_sounding(const PlanishMonoBelow *mono)
{
  return !planish_crossfade_is_old(&mono->fade);
}

/* `frames` of (left, right) in place. */
void planish_mono_below_process(PlanishMonoBelow *mono, PlanishTwo *audio, uint32_t frames);

/* Power of the low end (mid and side, under the crossover's low-pass) lost by folding, in dB,
 * 0..60, as a mean over 300 ms. 0 when off or silent. */
double planish_mono_below_loss(const PlanishMonoBelow *mono);

#endif
