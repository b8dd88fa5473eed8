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

/* The ring's end comes in between once in a while. */
static uint32_t up_to_end(const PlanishDelay *delay, uint32_t at, uint32_t frames)
{
  return frames < delay->size - at ? frames : delay->size - at;
}

void planish_delay_process(PlanishDelay *delay, const double *in, double *out, uint32_t by,
                           uint32_t frames)
{
  const uint32_t mask = delay->size - 1;
  const uint32_t from = (delay->at - by) & mask;
  uint32_t first = up_to_end(delay, delay->at, frames);
  memcpy(delay->ring + delay->at, in, first * sizeof *in);
  memcpy(delay->ring, in + first, (frames - first) * sizeof *in);
  first = up_to_end(delay, from, frames);
  memcpy(out, delay->ring + from, first * sizeof *out);
  memcpy(out + first, delay->ring, (frames - first) * sizeof *out);
  delay->at = (delay->at + frames) & mask;
}
