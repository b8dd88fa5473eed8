/* The mean square of one channel over two holds, made constant on steady tones.
 *
 * A plain box leaves a ripple of twice the tone's frequency. Here the result is the middle between
 * the largest and the smallest mean of the last `hold` frames: once that covers half a period, both
 * are constant, and as the ripple is a sine their middle is the true mean square, whatever part of
 * a period the box ends with.
 *
 * The box is a running sum in 64-bit integers, exact for ever; a frame counts with at most +24 dB
 * and is rounded to a step of at most 2^-40 (in power, for boxes up to 2^14 frames).
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_HELD_MEAN_SQUARE_H
#define PLANISH_DSP_HELD_MEAN_SQUARE_H

#include "common/dsp/grid.h"
#include "common/dsp/held_envelope.h"

typedef struct {
  int64_t *past; /* a ring */
  int64_t sum;   /* of the last `length` values */
  double scale;  /* whole steps a unit of power */
  double mean;   /* from the sum to the mean */
  uint32_t mask;
  uint32_t at;
  uint32_t length; /* of the box, on its way to two holds by one a frame */
  PlanishSlidingMax largest;
  PlanishSlidingMax smallest; /* of the negative */
} PlanishHeldMeanSquare;

/* `max_hold` in frames, 1..2^24. */
void planish_held_mean_square_setup(PlanishHeldMeanSquare *held, PlanishArena *arena,
                                    uint32_t max_hold);

/* A past of silence; `hold` in frames, 1..max_hold. O(max_hold), a plain clearing of memory. */
void planish_held_mean_square_reset(PlanishHeldMeanSquare *held, uint32_t hold);

/* Takes 1..PLANISH_GRID frames and gives the power at each; `hold` may change from call to call. */
void planish_held_mean_square_process(PlanishHeldMeanSquare *held, const double *x, double *power,
                                      uint32_t frames, uint32_t hold);

#endif
