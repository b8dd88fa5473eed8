/* A delay line for one channel, moved in blocks.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_DELAY_H
#define PLANISH_DSP_DELAY_H

#include "common/dsp/arena.h"

#include <stdint.h>

typedef struct {
  double *ring;
  uint32_t size; /* a power of two, over the longest delay and a block */
  uint32_t at;   /* where the next frame goes */
} PlanishDelay;

/* For delays of 0..longest frames and blocks of up to `block` frames. */
void planish_delay_setup(PlanishDelay *delay, PlanishArena *arena, uint32_t longest,
                         uint32_t block);

void planish_delay_reset(PlanishDelay *delay);

/* Takes `frames` samples in, and gives out those of `by` frames ago. in and out may be the same. */
void planish_delay_process(PlanishDelay *delay, const double *in, double *out, uint32_t by,
                           uint32_t frames);

#endif
