/* The floor under a lift: what is left of it at a level of power, so that hiss, pauses and the ends
 * of fades are not raised.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_LIFT_FLOOR_H
#define PLANISH_DSP_LIFT_FLOOR_H

#include "common/dsp/maths.h"

/* The lift is whole at the floor and gone this far under it. */
#define PLANISH_LIFT_FADE_DB 8.0

/* Share of the lift, 0..1; both in dB. */
static inline double planish_lift_share(double power, double floor)
{
  return planish_smoothstep((power - floor) / PLANISH_LIFT_FADE_DB + 1.0);
}

#endif
