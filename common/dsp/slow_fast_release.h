/* The release of a limiter in two parts: a slow one that carries what lasts, and a fast one for
 * what sticks out of it.
 *
 * With h the held need (dB, >= 0): the slow part s follows h by one pole, rising slower than it
 * falls (the other way round it rides on the peaks and costs loudness); the fast part is
 * f = max(h - share s, keep f); the result share s + f is never below h. Under steady sound h
 * stands still and so does the result; a lone peak is let go by f alone.
 *
 * h must be held over half a period of the lowest tone for both parts: an f that follows the bare
 * need distorts short bass notes as a plain one-pole release does.
 *
 * Thread: any, each state by one at a time. Real-time safe. */
#ifndef PLANISH_DSP_SLOW_FAST_RELEASE_H
#define PLANISH_DSP_SLOW_FAST_RELEASE_H

#include "common/dsp/maths.h"

typedef struct {
  double keep; /* what is left of the fast part after a frame */
  double rise; /* share of the way that the slow part goes in a frame, up ... */
  double fall; /* ... and down */
} PlanishSlowFastTimes;

typedef struct {
  double slow; /* dB */
  double fast; /* dB */
} PlanishSlowFastRelease;

/* `release` in ms, > 0: the fast part's time constant. The slow part takes 600 ms up and 200 ms
 * down, and longer once the fast part is slower than that. */
PlanishSlowFastTimes planish_slow_fast_times(double release, double rate);

/* Reductions below this are none (-159 dB re the signal), so that audio is exact again soon. */
#define PLANISH_SLOW_FAST_NOTHING_DB 1e-7

/* Takes the held need in dB, >= 0, and returns the reduction in dB, >= need; share 0..1. */
static inline double planish_slow_fast_next(PlanishSlowFastRelease *release,
                                            const PlanishSlowFastTimes *times, double need,
                                            double share)
{
  const double way = need - release->slow;
  release->slow += way * (way > 0.0 ? times->rise : times->fall);
  const double carried = share * release->slow;
  release->fast = planish_max(need - carried, release->fast * times->keep);
  const double reduction = planish_max(need, carried + release->fast);
  if (reduction < PLANISH_SLOW_FAST_NOTHING_DB) {
    *release = (PlanishSlowFastRelease){0.0, 0.0};
    return 0.0;
  }
  return reduction;
}

#endif
