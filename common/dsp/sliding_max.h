/* Largest of the last L values of a stream, for any L from frame to frame.
 *
 * A monotone queue (Lemire 2006) holds the values that are not followed by a larger one. The usual
 * loop that drops dominated values can drop a whole window in one frame; here the place where they
 * begin is searched for in growing steps, so the worst frame costs O(log L) and the usual one O(1).
 * Values are kept for the largest length, so the length may change freely at any frame.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_SLIDING_MAX_H
#define PLANISH_DSP_SLIDING_MAX_H

#include "common/dsp/arena.h"

#include <stdint.h>

typedef struct {
  double value;
  uint32_t frame;
} PlanishSlidingMaxEntry;

typedef struct {
  PlanishSlidingMaxEntry *queue; /* a ring; values fall strictly from oldest to newest */
  uint32_t mask;
  uint32_t oldest; /* counts of entries ever queued; they wrap */
  uint32_t front;  /* the first entry within the window */
  uint32_t end;    /* one past the newest */
  uint32_t now;    /* frames so far; wraps */
  uint32_t length; /* of the last call */
  uint32_t max_length;
} PlanishSlidingMax;

/* `max_length` in frames, 1..2^30. */
void planish_sliding_max_setup(PlanishSlidingMax *max, PlanishArena *arena, uint32_t max_length);

/* An empty stream: the first frames look at what there is. */
void planish_sliding_max_reset(PlanishSlidingMax *max);

/* Takes one value (not NaN) and returns the largest of the last `length`, 1..max_length. */
double planish_sliding_max_next(PlanishSlidingMax *max, double value, uint32_t length);

#endif
