#include "common/dsp/box_window.h"

#include <stdbool.h>
#include <string.h>

/* Bits of a value of 256, and those that the last sum may have. */
enum { VALUE_BITS = 8, SUM_BITS = 62 };

/* Frames worked on at a time. */
enum { CHUNK = 32 };

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
  window->span = length + PLANISH_BOXES;
  window->zeros = window->span;
  int bits = SUM_BITS - VALUE_BITS;
  while (bits > 0 && (product >> (SUM_BITS - VALUE_BITS - bits)) > 0) {
    --bits;
  }
  window->scale = (double)(UINT64_C(1) << bits);
  window->mean = 1.0 / (window->scale * (double)product);
}

static void process_box(PlanishBox *box, int64_t *values, uint32_t frames)
{
  int64_t sum = box->sum;
  for (uint32_t done = 0; done < frames;) {
    const uint32_t to_end = box->length - box->at;
    const uint32_t some = frames - done < to_end ? frames - done : to_end;
    int64_t *restrict past = box->past + box->at;
    for (uint32_t i = 0; i < some; ++i) {
      const int64_t value = values[done + i];
      sum += value - past[i];
      past[i] = value;
      values[done + i] = sum;
    }
    box->at = box->at + some == box->length ? 0 : box->at + some;
    done += some;
  }
  box->sum = sum;
}

/* Whether nothing comes in and nothing is left: then the boxes may stand. */
static bool is_at_rest(const PlanishBoxWindow *window, const double *values, uint32_t frames)
{
  bool rests = window->zeros >= window->span;
  for (uint32_t i = 0; i < frames; ++i) {
    rests &= values[i] == 0.0;
  }
  return rests;
}

/* Zeros that have come in a row, so far as they matter. */
static void count_zeros(PlanishBoxWindow *window, const double *values, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    window->zeros = values[i] == 0.0 ? window->zeros + 1 : 0;
  }
  window->zeros = window->zeros < window->span ? window->zeros : window->span;
}

static void process_chunk(PlanishBoxWindow *window, double *values, uint32_t frames)
{
  int64_t whole[CHUNK];
  if (is_at_rest(window, values, frames)) {
    return;
  }
  count_zeros(window, values, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    const double scaled = values[i] * window->scale;
    whole[i] = (int64_t)scaled;
    whole[i] += (double)whole[i] < scaled;
  }
  for (uint32_t i = 0; i < PLANISH_BOXES; ++i) {
    process_box(window->box + i, whole, frames);
  }
  for (uint32_t i = 0; i < frames; ++i) {
    values[i] = (double)whole[i] * window->mean;
  }
}

void planish_box_window_process(PlanishBoxWindow *window, double *values, uint32_t frames)
{
  for (uint32_t at = 0; at < frames; at += CHUNK) {
    process_chunk(window, values + at, frames - at < CHUNK ? frames - at : CHUNK);
  }
}
