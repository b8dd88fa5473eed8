/* Attack and release of a gain, in dB.
 *
 * Times are time constants of one pole, a = e^(-1 / (time rate)): after a step of level the gain
 * has gone 63.2 % of its way, in dB, when the time has passed (within 10 % of its end after 2.30
 * times). Attack is for a level that rises, release for one that falls, above and below the
 * threshold alike: with the attack a reduction comes, a lift leaves and an expander opens.
 * Branching form (Giannoulis, Massberg, Reiss, JAES 60 (2012), sec. 2), so that both times are what
 * they say; on a level without ripple (held_envelope.h) it adds no distortion of its own.
 *
 * As targets lie in their ranges, one side at a time, and both sides move by the same share, the
 * sum of |part| / range never passes 1 while the ranges stand still.
 *
 * Thread: one at a time; times may be shared. Real-time safe. */
#ifndef PLANISH_DSP_GAIN_SMOOTHER_H
#define PLANISH_DSP_GAIN_SMOOTHER_H

#include "common/dsp/gain_curve.h"
#include "common/dsp/trig.h"

#include <stdbool.h>

/* Shares of the way to go in a frame. */
typedef struct {
  double attack;
  double release;
} PlanishGainTimes;

/* All zero: no gain. */
typedef PlanishGainParts PlanishGainSmoother;

/* Times in ms, > 0. */
static inline PlanishGainTimes planish_gain_times(double attack, double release, double rate)
{
  return (PlanishGainTimes){
      1.0 - planish_exp(-1000.0 / (attack * rate)),
      1.0 - planish_exp(-1000.0 / (release * rate)),
  };
}

/* A part on its way; what is left of a way to 0 ends at 1e-9 dB. */
static inline double planish_gain_step(double now, double target, double outwards, double back)
{
  const bool returns = now > 0.0 ? target < now && target >= 0.0 : target > now && target <= 0.0;
  now += (returns ? back : outwards) * (target - now);
  return target == 0.0 && fabs(now) < 1e-9 ? 0.0 : now;
}

static inline PlanishGainParts planish_gain_smoother_next(PlanishGainSmoother *smoother,
                                                          const PlanishGainTimes *times,
                                                          PlanishGainParts target)
{
  smoother->above = planish_gain_step(smoother->above, target.above, times->attack, times->release);
  smoother->below = planish_gain_step(smoother->below, target.below, times->release, times->attack);
  return *smoother;
}

#endif
