/* The largest of a reported value over the last second, for an output port: hosts read ports some
 * 25 times a second and would miss a short peak.
 *
 * Kept in slots of 1/16 s, so a value stays for 1 to 17/16 s.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_DSP_PEAK_HOLD_H
#define PLANISH_DSP_PEAK_HOLD_H

#include <stdint.h>

enum { PLANISH_PEAK_HOLD_SLOTS = 16 };

typedef struct {
  double slots[PLANISH_PEAK_HOLD_SLOTS]; /* largest of each whole slot */
  double held;                           /* largest of them */
  double current;                        /* largest of the slot that is being filled */
  double lowest;                         /* what nothing reads */
  uint32_t slot;
  uint32_t frame; /* of the slot that is being filled */
  uint32_t slot_frames;
} PlanishPeakHold;

/* `lowest`: the value before anything came. */
void planish_peak_hold_setup(PlanishPeakHold *hold, double rate, double lowest);
void planish_peak_hold_reset(PlanishPeakHold *hold);

/* Takes the largest value of the next `frames` frames (at most 1/16 s). */
void planish_peak_hold_push(PlanishPeakHold *hold, double value, uint32_t frames);

double planish_peak_hold_value(const PlanishPeakHold *hold);

#endif
