#include "plugins/meter/window.h"

void planish_meter_window_process(PlanishMeterWindow *window, const double *const audio[2],
                                  uint32_t frames)
{
  PlanishStereoSums sums = window->now.sums;
  for (uint32_t i = 0; i < frames; ++i) {
    planish_stereo_sums_add(&sums, audio[0][i], audio[1][i]);
  }
  window->now.sums = sums;
  window->now.frames += frames;
}

PlanishMeterStretch planish_meter_window_finish_slot(PlanishMeterWindow *window)
{
  PlanishMeterStretch whole = {.frames = 0};
  window->slot[window->next] = window->now;
  window->next = (window->next + 1) % PLANISH_METER_SLOTS;
  window->now = (PlanishMeterStretch){.frames = 0};
  for (uint32_t i = 0; i < PLANISH_METER_SLOTS; ++i) {
    planish_stereo_sums_join(&whole.sums, &window->slot[i].sums);
    whole.frames += window->slot[i].frames;
  }
  return whole;
}
