#include "common/dsp/sliding_max.h"

void planish_sliding_max_setup(PlanishSlidingMax *max, PlanishArena *arena, uint32_t max_length)
{
  uint32_t capacity = 2;
  while (capacity < max_length + 1) {
    capacity *= 2;
  }
  *max = (PlanishSlidingMax){.mask = capacity - 1, .max_length = max_length};
  max->queue = planish_arena_take(arena, capacity, sizeof(PlanishSlidingMaxEntry));
  planish_sliding_max_reset(max);
}

void planish_sliding_max_reset(PlanishSlidingMax *max)
{
  max->oldest = 0;
  max->front = 0;
  max->end = 0;
  max->now = 0;
  max->length = 1;
}

static const PlanishSlidingMaxEntry *entry(const PlanishSlidingMax *max, uint32_t place)
{
  return max->queue + (place & max->mask);
}

/* How many entries at the end are not larger than `value`. */
static uint32_t dominated(const PlanishSlidingMax *max, double value)
{
  const uint32_t count = max->end - max->oldest;
  uint32_t found = 0;
  uint32_t step = 1;
  while (found + step <= count && entry(max, max->end - found - step)->value <= value) {
    found += step;
    step *= 2;
  }
  for (; step > 0; step /= 2) {
    if (found + step <= count && entry(max, max->end - found - step)->value <= value) {
      found += step;
    }
  }
  return found;
}

/* The first entry that is younger than `length` frames; the newest always is. */
static uint32_t first_within(const PlanishSlidingMax *max, uint32_t length)
{
  uint32_t low = max->oldest;
  uint32_t high = max->end - 1;
  while (low != high) {
    const uint32_t middle = low + (high - low) / 2;
    if (max->now - entry(max, middle)->frame < length) {
      high = middle;
    } else {
      low = middle + 1;
    }
  }
  return low;
}

double planish_sliding_max_next(PlanishSlidingMax *max, double value, uint32_t length)
{
  ++max->now;
  max->end -= dominated(max, value);
  max->queue[max->end & max->mask] = (PlanishSlidingMaxEntry){value, max->now};
  /* Wrapping counts: whichever of the two comes first. */
  if ((int32_t)(max->front - max->end) > 0) {
    max->front = max->end;
  }
  ++max->end;
  if (max->now - entry(max, max->oldest)->frame >= max->max_length) {
    ++max->oldest;
  }
  if (length != max->length) {
    max->front = first_within(max, length);
    max->length = length;
  } else if (max->now - entry(max, max->front)->frame >= length) {
    ++max->front;
  }
  return entry(max, max->front)->value;
}
