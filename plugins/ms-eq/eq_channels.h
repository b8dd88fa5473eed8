/* The part of a stereo signal that a band works on, and back. Mid = (L+R)/2, side = (L-R)/2.
 * Real-time safe. */
#ifndef PLANISH_MS_EQ_EQ_CHANNELS_H
#define PLANISH_MS_EQ_EQ_CHANNELS_H

#include "common/dsp/two_lanes.h"

#include <stdint.h>
#include <string.h>

typedef enum {
  PLANISH_EQ_STEREO,
  PLANISH_EQ_MID,
  PLANISH_EQ_SIDE,
  PLANISH_EQ_LEFT,
  PLANISH_EQ_RIGHT,
} PlanishEqChannels;

/* (left, right) to the part: both lanes for stereo, the own lane for left and right, the first for
 * mid and side; 0 elsewhere. */
static inline PlanishTwo planish_eq_part_of(PlanishEqChannels channels, PlanishTwo x)
{
  switch (channels) {
  case PLANISH_EQ_MID:
    return (PlanishTwo){0.5 * (x[0] + x[1]), 0.0};
  case PLANISH_EQ_SIDE:
    return (PlanishTwo){0.5 * (x[0] - x[1]), 0.0};
  case PLANISH_EQ_LEFT:
    return (PlanishTwo){x[0], 0.0};
  case PLANISH_EQ_RIGHT:
    return (PlanishTwo){0.0, x[1]};
  case PLANISH_EQ_STEREO:
    break;
  }
  return x;
}

/* What the part is on left and right. */
static inline PlanishTwo planish_eq_part_on_both(PlanishEqChannels channels, PlanishTwo part)
{
  if (channels == PLANISH_EQ_MID) {
    return (PlanishTwo){part[0], part[0]};
  }
  if (channels == PLANISH_EQ_SIDE) {
    return (PlanishTwo){part[0], -part[0]};
  }
  return part;
}

/* Of some frames; `x` may not be `audio`. */
static inline void planish_eq_parts_of(PlanishEqChannels channels, const PlanishTwo *audio,
                                       PlanishTwo *x, uint32_t frames)
{
  if (channels == PLANISH_EQ_STEREO) {
    memcpy(x, audio, frames * sizeof *x);
    return;
  }
  for (uint32_t n = 0; n < frames; ++n) {
    x[n] = planish_eq_part_of(channels, audio[n]);
  }
}

/* The same where they need not be written to: in `x`, or the audio itself. */
static inline const PlanishTwo *planish_eq_parts_in(PlanishEqChannels channels,
                                                    const PlanishTwo *audio, PlanishTwo *x,
                                                    uint32_t frames)
{
  if (channels == PLANISH_EQ_STEREO) {
    return audio;
  }
  planish_eq_parts_of(channels, audio, x, frames);
  return x;
}

/* In place. */
static inline void planish_eq_parts_on_both(PlanishEqChannels channels, PlanishTwo *parts,
                                            uint32_t frames)
{
  if (channels != PLANISH_EQ_MID && channels != PLANISH_EQ_SIDE) {
    return;
  }
  for (uint32_t n = 0; n < frames; ++n) {
    parts[n] = planish_eq_part_on_both(channels, parts[n]);
  }
}

#endif
