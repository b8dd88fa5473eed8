#include "common/dsp/peak_hold.h"

#include "common/dsp/maths.h"

void planish_peak_hold_setup(PlanishPeakHold *hold, double rate, double lowest)
{
  *hold = (PlanishPeakHold){.lowest = lowest};
  hold->slot_frames = (uint32_t)planish_max(1.0, rate / PLANISH_PEAK_HOLD_SLOTS + 0.5);
  planish_peak_hold_reset(hold);
}

void planish_peak_hold_reset(PlanishPeakHold *hold)
{
  for (uint32_t i = 0; i < PLANISH_PEAK_HOLD_SLOTS; ++i) {
    hold->slots[i] = hold->lowest;
  }
  hold->held = hold->lowest;
  hold->current = hold->lowest;
  hold->slot = 0;
  hold->frame = 0;
}

void planish_peak_hold_push(PlanishPeakHold *hold, double value, uint32_t frames)
{
  hold->current = planish_max(hold->current, value);
  hold->frame += frames;
  if (hold->frame < hold->slot_frames) {
    return;
  }
  hold->frame -= hold->slot_frames;
  hold->slots[hold->slot] = hold->current;
  hold->slot = (hold->slot + 1) % PLANISH_PEAK_HOLD_SLOTS;
  hold->current = hold->lowest;
  hold->held = hold->lowest;
  for (uint32_t i = 0; i < PLANISH_PEAK_HOLD_SLOTS; ++i) {
    hold->held = planish_max(hold->held, hold->slots[i]);
  }
}

double planish_peak_hold_value(const PlanishPeakHold *hold)
{
  return planish_max(hold->held, hold->current);
}
