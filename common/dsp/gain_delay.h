/* Look-ahead: the gain of a frame meets the audio that came in up to the largest look-ahead before
 * it. The audio is always late by the largest; the gains by what a smaller look-ahead leaves of it.
 *
 * A new look-ahead cross-fades between two places of the gains' past over 20 ms, so each gain on
 * the way lies between two that were meant.
 *
 * Real-time safe, but for setup. */
#ifndef PLANISH_GAIN_DELAY_H
#define PLANISH_GAIN_DELAY_H

#include "common/dsp/arena.h"
#include "common/dsp/crossfade.h"
#include "common/dsp/dynamic_gain.h"

typedef struct {
  PlanishGainPair *ring;
  uint32_t mask;
  uint32_t at;
  uint32_t by[2]; /* frames: what is left, and what is heard or coming */
  uint32_t wanted;
  PlanishCrossfade fade;
} PlanishGainDelay;

void planish_gain_delay_setup(PlanishGainDelay *delay, PlanishArena *arena, double rate,
                              uint32_t longest);

/* A past without gain. */
void planish_gain_delay_reset(PlanishGainDelay *delay, uint32_t by);

/* At every grid frame, after `wanted` has been set (0..longest). */
void planish_gain_delay_grid(PlanishGainDelay *delay);

/* One frame in, one frame out. */
PlanishGainPair planish_gain_delay_next(PlanishGainDelay *delay, PlanishGainPair gains);

/* The same for up to PLANISH_GRID frames, in place. */
void planish_gain_delay_process(PlanishGainDelay *delay, PlanishGainPair *gains, uint32_t frames);

#endif
