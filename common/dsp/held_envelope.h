/* The envelope of one channel: the largest peak of the last `hold` frames.
 *
 * Held for half a period of a tone it is exactly constant, so a gain that follows it adds no
 * harmonics; it rises at once, costs no latency, and only its fall is late, by `hold`. A rectified
 * signal smoothed by one pole leaves -36 to -76 dB of distortion on a bass note instead
 * (tests/unit/test_dynamics_distortion.c).
 *
 * A peak is read between the frames: where the magnitude has a maximum at x1, the sine through x0,
 * x1, x2 has the power x1^2 (1 + (x2 - x0)^2 / (4 x1^2 - (x0 + x2)^2)), from x0 + x2 = 2 x1 cos w
 * and x2 - x0 = 2 A cos(phase) sin w. It is exact for a sine of any frequency, and never over x1 by
 * more than 3 dB. Without it a tone that meets the same few phases again and again reads low: 10
 * kHz at 48 kHz by up to 0.075 dB.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_HELD_ENVELOPE_H
#define PLANISH_DSP_HELD_ENVELOPE_H

#include "common/dsp/grid.h"
#include "common/dsp/maths.h"
#include "common/dsp/sliding_max.h"

typedef struct {
  PlanishSlidingMax max;
  double past[2]; /* the last frame and the one before */
} PlanishHeldEnvelope;

/* Frames to hold for tones down to 500 / ms Hz. Two more than half a period, so that the next peak
 * is known before the last is forgotten: a peak is known one frame late, and may lie anywhere
 * between two frames. */
static inline uint32_t planish_hold_frames(double ms, double rate)
{
  return planish_frames_of(ms, rate) + 2;
}

/* A hold on its way to another, by one frame a frame: a shorter one lets go of the past little by
 * little. */
static inline uint32_t planish_hold_towards(uint32_t hold, uint32_t target)
{
  return hold < target ? hold + 1 : hold - (hold > target);
}

/* `max_hold` in frames, >= 1. */
void planish_held_envelope_setup(PlanishHeldEnvelope *envelope, PlanishArena *arena,
                                 uint32_t max_hold);

void planish_held_envelope_reset(PlanishHeldEnvelope *envelope);

/* Takes 1..PLANISH_GRID frames (|x| <= 2^20) and gives the power of the envelope at each, its
 * magnitude squared; `hold` in frames, 1..max_hold, free to change from call to call. */
void planish_held_envelope_process(PlanishHeldEnvelope *envelope, const double *x, double *power,
                                   uint32_t frames, uint32_t hold);

#endif
