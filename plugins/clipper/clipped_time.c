#include "plugins/clipper/clipped_time.h"

#include <string.h>

void clipped_time_setup(ClippedTime *time, double rate)
{
  time->slot_frames = (uint32_t)(rate / CLIPPED_TIME_SLOTS) + 1;
  clipped_time_reset(time);
}

void clipped_time_reset(ClippedTime *time)
{
  memset(time->slots, 0, sizeof time->slots);
  time->sum = 0;
  time->current = 0;
  time->frame = 0;
  time->slot = 0;
}

void clipped_time_push(ClippedTime *time, uint32_t clipped, uint32_t frames)
{
  time->current += clipped;
  time->frame += frames;
  if (time->frame >= time->slot_frames) {
    time->sum += time->current - time->slots[time->slot];
    time->slots[time->slot] = time->current;
    time->slot = (time->slot + 1) % CLIPPED_TIME_SLOTS;
    time->frame -= time->slot_frames;
    time->current = 0;
  }
}

double clipped_time_value(const ClippedTime *time)
{
  /* A slot that takes whole blocks may hold a little more than its length. */
  const double share = (double)time->sum / CLIPPED_TIME_SLOTS / time->slot_frames;
  return share > 1.0 ? 100.0 : 100.0 * share;
}
