/* Eight floats in one register, beside four_lanes.h, which is for doubles: two of four where there
 * are no larger ones.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_EIGHT_FLOATS_H
#define PLANISH_DSP_EIGHT_FLOATS_H

#include "common/dsp/four_lanes.h"

typedef float PlanishEight __attribute__((vector_size(32)));
typedef int32_t PlanishEightMask __attribute__((vector_size(32)));

enum { PLANISH_EIGHT = 8 };

/* From any place, of floats or of complex numbers made of them; it need not be aligned. */
PLANISH_INLINED PlanishEight planish_eight_load(const void *from)
{
  PlanishEight eight;
  memcpy(&eight, from, sizeof eight);
  return eight;
}

PLANISH_INLINED void planish_eight_store(void *to, PlanishEight eight)
{
  memcpy(to, &eight, sizeof eight);
}

#endif
