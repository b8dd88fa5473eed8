/* Largest of the last L values of a stream, for any L from frame to frame.
 *
 * The stream is cut into parts of about the root of the longest window. A window is then the tail
 * of one part, some whole parts, and the head of the part that is being filled; of each the largest
 * is known: tails are gone through once as their part ends, whole parts are looked at anew only
 * where the window has come to another part (two-level form of van Herk 1992, Gil and Werman 1993,
 * from memory). So the usual frame takes two comparisons and no branch that depends on the values,
 * and the worst one as many as the root of the longest window.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_SLIDING_MAX_H
#define PLANISH_DSP_SLIDING_MAX_H

#include "common/dsp/arena.h"
#include "common/dsp/maths.h"

#include <stdint.h>

typedef struct {
  double *values; /* a ring: as they came in the part that is being filled; in those before, the
                     largest from there to the part's end */
  double *tops;   /* the largest of each part, a ring, twice over so that it is read in one go */
  double head;    /* the largest so far of the part that is being filled */
  double middle;  /* the largest of the whole parts... */
  uint32_t first_part; /* ...after this one, which the window begins in... */
  uint32_t last_part;  /* ...and before this one, which it ends in */
  uint32_t mask;
  uint32_t parts; /* in the ring */
  uint32_t shift; /* a part has 2^shift frames */
  uint32_t now;   /* frames so far; wraps */
  uint32_t seen;  /* likewise, up to the longest window */
  uint32_t max_length;
} PlanishSlidingMax;

/* `max_length` in frames, 1..2^30. */
void planish_sliding_max_setup(PlanishSlidingMax *max, PlanishArena *arena, uint32_t max_length);

/* An empty stream: the first frames look at what there is. */
void planish_sliding_max_reset(PlanishSlidingMax *max);

/* For planish_sliding_max_next(). */
double planish_sliding_max_within_part(const PlanishSlidingMax *max, uint32_t first, uint32_t last);
void planish_sliding_max_find_middle(PlanishSlidingMax *max, uint32_t first_part,
                                     uint32_t last_part);
void planish_sliding_max_end_part(PlanishSlidingMax *max, uint32_t last);

/* Takes one value (not NaN) and returns the largest of the last `length`, 1..max_length. */
static inline double planish_sliding_max_next(PlanishSlidingMax *max, double value, uint32_t length)
{
  const uint32_t now = max->now++;
  const uint32_t within = (1u << max->shift) - 1u;
  max->seen += max->seen < max->max_length;
  max->values[now & max->mask] = value;
  max->head = (now & within) == 0 ? value : planish_max(max->head, value);
  const uint32_t first = now + 1u - (length < max->seen ? length : max->seen);
  const uint32_t first_part = first >> max->shift;
  const uint32_t part = now >> max->shift;
  double largest = max->head;
  if (first_part == part) {
    largest = planish_sliding_max_within_part(max, first, now);
  } else {
    if (first_part != max->first_part || part != max->last_part) {
      planish_sliding_max_find_middle(max, first_part, part);
    }
    largest = planish_max(largest, planish_max(max->middle, max->values[first & max->mask]));
  }
  if ((now & within) == within) {
    planish_sliding_max_end_part(max, now);
  }
  return largest;
}

/* The same for `frames` frames, in place. */
static inline void planish_sliding_max_process(PlanishSlidingMax *max, double *values,
                                               uint32_t frames, uint32_t length)
{
  for (uint32_t i = 0; i < frames; ++i) {
    values[i] = planish_sliding_max_next(max, values[i], length);
  }
}

#endif
