#include "common/dsp/delay.h"

#include <string.h>

void planish_delay_setup(PlanishDelay *delay, PlanishArena *arena, uint32_t longest, uint32_t block)
{
  delay->size = 1;
  while (delay->size < longest + block) {
    delay->size *= 2;
  }
  delay->ring = planish_arena_take(arena, delay->size, sizeof(double));
  delay->at = 0;
}

void planish_delay_reset(PlanishDelay *delay)
{
  memset(delay->ring, 0, delay->size * sizeof(double));
  delay->at = 0;
}

void planish_delay_process(PlanishDelay *delay, const double *in, double *out, uint32_t by,
                           uint32_t frames)
{
  const uint32_t mask = delay->size - 1;
  for (uint32_t i = 0; i < frames; ++i) {
    const uint32_t at = delay->at + i;
    delay->ring[at & mask] = in[i];
    out[i] = delay->ring[(at - by) & mask];
  }
  delay->at = (delay->at + frames) & mask;
}
