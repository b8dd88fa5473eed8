/* A stage's answer in time: to an impulse, to a step, and to a tone that rises and falls.
 *
 * Frame 0 of what is returned is that of the event at the input, moved by the latency that the
 * stage reports: what stands before it comes ahead of the event. The stage first runs in silence,
 * or on the tone, for its latency and what it `settles` in.
 *
 * A signal on both channels (stereo, mid) is read as (l + r) / 2; see probe.h for the others.
 * Thread: one at a time. */
#ifndef PLANISH_HARNESS_TIME_RESPONSE_H
#define PLANISH_HARNESS_TIME_RESPONSE_H

#include "harness/response/probe.h"

#include <stddef.h>

typedef struct {
  size_t count;
  double *seconds; /* from the event on */
  double *values;
} PlanishTimeResponse;

typedef enum { PLANISH_TIME_IMPULSE, PLANISH_TIME_STEP } PlanishTimeEvent;

/* The answer to one frame, or to all frames from one on, of `level` dBFS (0: full scale), re that
 * level. As many frames as matter: an impulse's ends carry less than -100 dB of its energy, a
 * step's last frames lie within -80 dB of where it ends; 2 s at most. NULL: see
 * planish_probe_run(). */
PlanishTimeResponse *planish_time_response_new(const PlanishProbeSetup *setup,
                                               PlanishTimeEvent event, double level,
                                               PlanishError *error);

#define PLANISH_BURST_LOW_LEVEL (-40.0) /* dBFS */
#define PLANISH_BURST_BEFORE    0.05    /* s that are shown before it */
#define PLANISH_BURST_LENGTH    0.5     /* s */
#define PLANISH_BURST_AFTER     1.0     /* s */

/* The gain in dB on a tone of `hz` that stands at PLANISH_BURST_LOW_LEVEL, is at `level` dBFS for
 * PLANISH_BURST_LENGTH and goes back; each value over two periods (Hann), one period after another.
 * -HUGE_VAL for no tone. `hz` lies below half the rate. */
PlanishTimeResponse *planish_burst_response_new(const PlanishProbeSetup *setup, double hz,
                                                double level, PlanishError *error);

/* NULL is allowed. */
void planish_time_response_free(PlanishTimeResponse *response);

#endif
