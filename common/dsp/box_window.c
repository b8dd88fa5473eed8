#include "common/dsp/box_window.h"

#include <string.h>

/* Bits of a value of 256, and those that the last sum may have. */
enum { VALUE_BITS = 8, SUM_BITS = 62 };

/* Box i of three whose lengths add up to N + 2, as N weights ask for. */
static uint32_t share(uint32_t length, uint32_t i)
{
  return (length + 2 + i) / PLANISH_BOXES;
}

void planish_box_window_setup(PlanishBoxWindow *window, PlanishArena *arena, uint32_t max_length)
{
  *window = (PlanishBoxWindow){.max_length = max_length};
  for (uint32_t i = 0; i < PLANISH_BOXES; ++i) {
    window->box[i].past = planish_arena_take(arena, share(max_length, i), sizeof(int64_t));
  }
}

void planish_box_window_reset(PlanishBoxWindow *window, uint32_t length)
{
  uint64_t product = 1;
  for (uint32_t i = 0; i < PLANISH_BOXES; ++i) {
    PlanishBox *box = window->box + i;
    box->length = share(length, i);
    box->sum = 0;
    box->at = 0;
    memset(box->past, 0, box->length * sizeof(int64_t));
    product *= box->length;
  }
  int bits = SUM_BITS - VALUE_BITS;
  while (bits > 0 && (product >> (SUM_BITS - VALUE_BITS - bits)) > 0) {
    --bits;
  }
  window->scale = (double)(UINT64_C(1) << bits);
  window->mean = 1.0 / (window->scale * (double)product);
}

static int64_t box_next(PlanishBox *box, int64_t value)
{
  box->sum += value - box->past[box->at];
  box->past[box->at] = value;
  box->at = box->at + 1 == box->length ? 0 : box->at + 1;
  return box->sum;
}

double planish_box_window_next(PlanishBoxWindow *window, double value)
{
  const double scaled = value * window->scale;
  int64_t sum = (int64_t)scaled;
  sum += (double)sum < scaled;
  for (uint32_t i = 0; i < PLANISH_BOXES; ++i) {
    sum = box_next(window->box + i, sum);
  }
  return (double)sum * window->mean;
}
