/* The way from an old result to a new one: a weight that goes from 0 to 1 with slope and curvature
 * zero at both ends, so that what it multiplies gains no energy at high frequencies.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_DSP_CROSSFADE_H
#define PLANISH_DSP_CROSSFADE_H

#include "common/dsp/maths.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct {
  uint32_t length; /* frames from one end to the other */
  uint32_t at;     /* 0: wholly old; length: wholly new */
  bool rising;     /* towards new */
} PlanishCrossfade;

/* Starts wholly new. */
static inline void planish_crossfade_setup(PlanishCrossfade *fade, double rate, double ms)
{
  const uint32_t frames = planish_frames_of(ms, rate);
  fade->length = frames == 0 ? 1 : frames;
  fade->at = fade->length;
  fade->rising = true;
}

/* At one end at once. */
static inline void planish_crossfade_jump(PlanishCrossfade *fade, bool to_new)
{
  fade->at = to_new ? fade->length : 0;
  fade->rising = to_new;
}

/* Heads for one end from where it is. */
static inline void planish_crossfade_turn(PlanishCrossfade *fade, bool to_new)
{
  fade->rising = to_new;
}

static inline bool planish_crossfade_is_moving(const PlanishCrossfade *fade)
{
  return fade->at != (fade->rising ? fade->length : 0);
}

/* Standing at the old end. */
static inline bool planish_crossfade_is_old(const PlanishCrossfade *fade)
{
  return fade->at == 0 && !fade->rising;
}

/* Standing at the new end. */
static inline bool planish_crossfade_is_new(const PlanishCrossfade *fade)
{
  return fade->at == fade->length && fade->rising;
}

/* Between the old result and the new one: at either end exactly that one, and where both agree
 * exactly both. */
static inline double planish_crossfade_between(double from, double to, double weight)
{
  return weight == 1.0 ? to : from + weight * (to - from);
}

/* The weight of the new result at this frame, exactly 0 or 1 at the ends; moves on by a frame. */
static inline double planish_crossfade_next(PlanishCrossfade *fade)
{
  const double weight = planish_smoothstep((double)fade->at / (double)fade->length);
  if (planish_crossfade_is_moving(fade)) {
    fade->at += fade->rising ? 1 : (uint32_t)-1;
  }
  return weight;
}

/* Moves on by `frames` at once: for a fade that nobody hears now. */
static inline void planish_crossfade_skip(PlanishCrossfade *fade, uint32_t frames)
{
  const uint32_t left = fade->rising ? fade->length - fade->at : fade->at;
  const uint32_t way = frames < left ? frames : left;
  fade->at = fade->rising ? fade->at + way : fade->at - way;
}

#endif
