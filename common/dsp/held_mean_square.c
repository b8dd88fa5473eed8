#include "common/dsp/held_mean_square.h"

#include "common/dsp/maths.h"

#include <string.h>

#define LARGEST_POWER 256.0

/* Bits of LARGEST_POWER, and those that the sum may have. */
enum { POWER_BITS = 8, SUM_BITS = 62 };

void planish_held_mean_square_setup(PlanishHeldMeanSquare *held, PlanishArena *arena,
                                    uint32_t max_hold)
{
  uint32_t size = 2;
  int bits = 1;
  while (size < 2 * max_hold + 1) {
    size *= 2;
    ++bits;
  }
  *held = (PlanishHeldMeanSquare){.mask = size - 1, .length = 1};
  held->scale = (double)(INT64_C(1) << (SUM_BITS - POWER_BITS - bits));
  held->past = planish_arena_take(arena, size, sizeof(int64_t));
  planish_sliding_max_setup(&held->largest, arena, max_hold);
  planish_sliding_max_setup(&held->smallest, arena, max_hold);
}

static void take_length(PlanishHeldMeanSquare *held, uint32_t length)
{
  held->length = length;
  held->mean = 1.0 / (held->scale * (double)length);
}

void planish_held_mean_square_reset(PlanishHeldMeanSquare *held, uint32_t hold)
{
  memset(held->past, 0, (held->mask + 1) * sizeof(int64_t));
  held->sum = 0;
  held->at = 0;
  take_length(held, 2 * hold);
  planish_sliding_max_reset(&held->largest);
  planish_sliding_max_reset(&held->smallest);
}

static void drop_oldest(PlanishHeldMeanSquare *held)
{
  held->sum -= held->past[(held->at - held->length) & held->mask];
}

/* The box over what came before makes room for a frame, and moves its length on. */
static void make_room(PlanishHeldMeanSquare *held, uint32_t wanted)
{
  if (held->length < wanted) {
    take_length(held, held->length + 1);
    return;
  }
  drop_oldest(held);
  if (held->length > wanted) {
    take_length(held, held->length - 1);
    drop_oldest(held);
  }
}

/* Takes a frame and returns the mean over the box. */
static inline double mean_with(PlanishHeldMeanSquare *held, double x, uint32_t wanted)
{
  const double power = planish_min(x * x, LARGEST_POWER);
  const int64_t value = (int64_t)(power * held->scale + 0.5);
  if (held->length == wanted) {
    drop_oldest(held);
  } else {
    make_room(held, wanted);
  }
  held->past[held->at & held->mask] = value;
  held->sum += value;
  ++held->at;
  return (double)held->sum * held->mean;
}

void planish_held_mean_square_process(PlanishHeldMeanSquare *held, const double *x, double *power,
                                      uint32_t frames, uint32_t hold)
{
  double negative[PLANISH_GRID];
  for (uint32_t i = 0; i < frames; ++i) {
    power[i] = mean_with(held, x[i], 2 * hold);
    negative[i] = -power[i];
  }
  planish_sliding_max_process(&held->largest, power, frames, hold);
  planish_sliding_max_process(&held->smallest, negative, frames, hold);
  for (uint32_t i = 0; i < frames; ++i) {
    power[i] = 0.5 * (power[i] - negative[i]);
  }
}
