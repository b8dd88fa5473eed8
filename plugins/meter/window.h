/* How the two channels go together over the last 3 s, in slots of 100 ms.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_METER_WINDOW_H
#define PLANISH_METER_WINDOW_H

#include "common/dsp/stereo_sums.h"

#include <stdint.h>

enum { PLANISH_METER_SLOTS = 30 };

typedef struct {
  PlanishStereoSums sums;
  uint64_t frames;
} PlanishMeterStretch;

typedef struct {
  PlanishMeterStretch slot[PLANISH_METER_SLOTS]; /* a ring */
  PlanishMeterStretch now;                       /* the slot that is being filled */
  uint32_t next;                                 /* its place */
} PlanishMeterWindow;

/* All zero is a window of nothing. */
void planish_meter_window_process(PlanishMeterWindow *window, const double *const audio[2],
                                  uint32_t frames);

/* Ends a slot. Returns the whole window: 3 s, less after a start. */
PlanishMeterStretch planish_meter_window_finish_slot(PlanishMeterWindow *window);

#endif
