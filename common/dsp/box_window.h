/* A smooth window of whole length N as three moving means (boxes) in a row.
 *
 * Their convolution has N weights, all > 0, with sum 1, bell-shaped with continuous slope. Running
 * sums in floating point drift and depend on their past; here they are 64-bit integers, exact for
 * ever. Values are rounded up to a step of at most 2^-22 on the way in (2^-34 at 48 kHz and 5 ms),
 * so a mean is never below what it was asked to keep; 0 stays exactly 0.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_BOX_WINDOW_H
#define PLANISH_DSP_BOX_WINDOW_H

#include "common/dsp/arena.h"

#include <stdint.h>

enum { PLANISH_BOXES = 3, PLANISH_BOX_WINDOW_MAX = 3000 };

typedef struct {
  int64_t *past;   /* a ring */
  int64_t sum;     /* of the last `length` values */
  uint32_t length; /* frames */
  uint32_t at;
} PlanishBox;

typedef struct {
  PlanishBox box[PLANISH_BOXES];
  double scale; /* whole steps a unit */
  double mean;  /* from the last sum back to units */
  uint32_t max_length;
  uint32_t span;  /* frames that anything is remembered, at most */
  uint32_t zeros; /* in a row until now, up to `span` */
} PlanishBoxWindow;

/* `max_length` in frames, 1..PLANISH_BOX_WINDOW_MAX. */
void planish_box_window_setup(PlanishBoxWindow *window, PlanishArena *arena, uint32_t max_length);

/* Takes the length, 1..max_length, and a past of zeros. O(length), a plain clearing of memory. */
void planish_box_window_reset(PlanishBoxWindow *window, uint32_t length);

/* Replaces each value by the mean over the last `length` values; |value| <= 256. Any count of
 * frames. */
void planish_box_window_process(PlanishBoxWindow *window, double *values, uint32_t frames);

#endif
