#include "common/dsp/gain_delay.h"

#include "common/dsp/glide.h"

#include <string.h>

void planish_gain_delay_setup(PlanishGainDelay *delay, PlanishArena *arena, double rate,
                              uint32_t longest)
{
  uint32_t size = 2;
  while (size < longest + PLANISH_GRID) {
    size *= 2;
  }
  *delay = (PlanishGainDelay){.mask = size - 1};
  delay->ring = planish_arena_take(arena, size, sizeof *delay->ring);
  planish_crossfade_setup(&delay->fade, rate, PLANISH_GLIDE_MS);
}

void planish_gain_delay_reset(PlanishGainDelay *delay, uint32_t by)
{
  memset(delay->ring, 0, (delay->mask + 1) * sizeof *delay->ring);
  delay->at = 0;
  delay->by[0] = by;
  delay->by[1] = by;
  delay->wanted = by;
  planish_crossfade_jump(&delay->fade, true);
}

void planish_gain_delay_grid(PlanishGainDelay *delay)
{
  if (planish_crossfade_is_moving(&delay->fade) || delay->by[1] == delay->wanted) {
    return;
  }
  delay->by[0] = delay->by[1];
  delay->by[1] = delay->wanted;
  planish_crossfade_jump(&delay->fade, false);
  planish_crossfade_turn(&delay->fade, true);
}

PlanishGainPair planish_gain_delay_next(PlanishGainDelay *delay, PlanishGainPair gains)
{
  delay->ring[delay->at & delay->mask] = gains;
  PlanishGainPair result = delay->ring[(delay->at - delay->by[1]) & delay->mask];
  if (planish_crossfade_is_moving(&delay->fade)) {
    const PlanishGainPair *old = &delay->ring[(delay->at - delay->by[0]) & delay->mask];
    const double share = planish_crossfade_next(&delay->fade);
    for (int c = 0; c < 2; ++c) {
      const PlanishGainParts *from = &old->channel[c];
      PlanishGainParts *to = &result.channel[c];
      to->above = planish_crossfade_between(from->above, to->above, share);
      to->below = planish_crossfade_between(from->below, to->below, share);
    }
  }
  ++delay->at;
  return result;
}

void planish_gain_delay_process(PlanishGainDelay *delay, PlanishGainPair *gains, uint32_t frames)
{
  if (planish_crossfade_is_moving(&delay->fade)) {
    for (uint32_t i = 0; i < frames; ++i) {
      gains[i] = planish_gain_delay_next(delay, gains[i]);
    }
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    delay->ring[(delay->at + i) & delay->mask] = gains[i];
  }
  for (uint32_t i = 0; i < frames; ++i) {
    gains[i] = delay->ring[(delay->at + i - delay->by[1]) & delay->mask];
  }
  delay->at += frames;
}
