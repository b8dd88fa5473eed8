/* The share of the last second in which something was clipped, in slots of 1/16 s.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_CLIPPER_CLIPPED_TIME_H
#define PLANISH_CLIPPER_CLIPPED_TIME_H

#include <stdint.h>

enum { CLIPPED_TIME_SLOTS = 16 };

typedef struct {
  uint32_t slots[CLIPPED_TIME_SLOTS]; /* clipped frames of each whole slot */
  uint32_t sum;                       /* of all slots */
  uint32_t current;                   /* of the slot that is being filled */
  uint32_t frame;                     /* of that slot */
  uint32_t slot;
  uint32_t slot_frames;
} ClippedTime;

void clipped_time_setup(ClippedTime *time, double rate);
void clipped_time_reset(ClippedTime *time);

/* The next `frames` frames, at most a slot, of which `clipped` were clipped. */
void clipped_time_push(ClippedTime *time, uint32_t clipped, uint32_t frames);

/* Percent. */
double clipped_time_value(const ClippedTime *time);

#endif
