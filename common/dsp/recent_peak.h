/* The largest magnitude of the last frames, told by blocks: of at least the last `length`, of twice
 * as many at most. Enough to prove that nothing can pass some level; two comparisons a block and
 * one a frame.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_DSP_RECENT_PEAK_H
#define PLANISH_DSP_RECENT_PEAK_H

#include "common/dsp/maths.h"

#include <stdint.h>

typedef struct {
  double current;  /* of the stretch that is being filled */
  double before;   /* of the one before */
  uint32_t frames; /* of the current one */
  uint32_t length; /* of a whole one */
} PlanishRecentPeak;

/* The past was silent. */
static inline void planish_recent_peak_reset(PlanishRecentPeak *recent, uint32_t length)
{
  *recent = (PlanishRecentPeak){.length = length};
}

/* Takes a block whose largest magnitude is told; returns that of the last frames, these among them.
 */
static inline double planish_recent_peak_next(PlanishRecentPeak *recent, double largest,
                                              uint32_t frames)
{
  recent->current = planish_max(recent->current, largest);
  const double found = planish_max(recent->current, recent->before);
  recent->frames += frames;
  if (recent->frames >= recent->length) {
    recent->before = recent->current;
    recent->current = 0.0;
    recent->frames = 0;
  }
  return found;
}

#endif
