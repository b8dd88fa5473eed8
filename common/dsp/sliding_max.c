#include "common/dsp/sliding_max.h"

/* Under all values: a maximum of nothing. */
static const double nothing = -HUGE_VAL;

void planish_sliding_max_setup(PlanishSlidingMax *max, PlanishArena *arena, uint32_t max_length)
{
  uint32_t shift = 2;
  while (((uint64_t)1 << (2 * shift)) < max_length) {
    ++shift;
  }
  uint32_t capacity = 2u << shift;
  while (capacity < max_length + (1u << shift)) {
    capacity *= 2;
  }
  *max = (PlanishSlidingMax){
      .mask = capacity - 1, .parts = capacity >> shift, .shift = shift, .max_length = max_length};
  max->values = planish_arena_take(arena, capacity, sizeof(double));
  max->tops = planish_arena_take(arena, (size_t)2 * max->parts, sizeof(double));
  planish_sliding_max_reset(max);
}

void planish_sliding_max_reset(PlanishSlidingMax *max)
{
  max->now = 0;
  max->seen = 0;
  max->head = nothing;
  max->middle = nothing;
  max->first_part = 0;
  max->last_part = 0;
}

double planish_sliding_max_within_part(const PlanishSlidingMax *max, uint32_t first, uint32_t last)
{
  double largest = max->values[last & max->mask];
  for (uint32_t n = first; n != last; ++n) {
    largest = planish_max(largest, max->values[n & max->mask]);
  }
  return largest;
}

void planish_sliding_max_find_middle(PlanishSlidingMax *max, uint32_t first_part,
                                     uint32_t last_part)
{
  /* Wraps with `now`, so the difference counts. */
  const uint32_t count = (last_part - first_part - 1u) & (max->parts - 1u);
  const double *tops = max->tops + ((first_part + 1u) & (max->parts - 1u));
  double even = nothing;
  double odd = nothing;
  uint32_t p = 0;
  for (; p + 2 <= count; p += 2) {
    even = planish_max(even, tops[p]);
    odd = planish_max(odd, tops[p + 1]);
  }
  if (p < count) {
    even = planish_max(even, tops[p]);
  }
  max->middle = planish_max(even, odd);
  max->first_part = first_part;
  max->last_part = last_part;
}

void planish_sliding_max_end_part(PlanishSlidingMax *max, uint32_t last)
{
  double *values = max->values + (last & max->mask & ~((1u << max->shift) - 1u));
  double largest = nothing;
  for (uint32_t n = 1u << max->shift; n-- > 0;) {
    largest = planish_max(largest, values[n]);
    values[n] = largest;
  }
  double *tops = max->tops + ((last >> max->shift) & (max->parts - 1u));
  tops[0] = largest;
  tops[max->parts] = largest;
}
