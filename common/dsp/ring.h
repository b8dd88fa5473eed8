/* Blocks into a ring of doubles, and out of it. Its size is a power of two, no smaller than a
 * block; frames are counted and wrap.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_DSP_RING_H
#define PLANISH_DSP_RING_H

#include <stdint.h>
#include <string.h>

/* At frame `at`. */
static inline void planish_ring_put(double *ring, uint32_t size, uint32_t at, const double *values,
                                    uint32_t frames)
{
  const uint32_t from = at & (size - 1);
  const uint32_t first = size - from < frames ? size - from : frames;
  memcpy(ring + from, values, first * sizeof(double));
  memcpy(ring, values + first, (frames - first) * sizeof(double));
}

/* What it held from frame `at` on. */
static inline void planish_ring_get(const double *ring, uint32_t size, uint32_t at, double *values,
                                    uint32_t frames)
{
  const uint32_t from = at & (size - 1);
  const uint32_t first = size - from < frames ? size - from : frames;
  memcpy(values, ring + from, first * sizeof(double));
  memcpy(values + first, ring, (frames - first) * sizeof(double));
}

#endif
