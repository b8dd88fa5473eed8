/* Eight floats in one register, beside four_lanes.h, which is for doubles: two of four where there
 * are no larger ones.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_EIGHT_FLOATS_H
#define PLANISH_DSP_EIGHT_FLOATS_H

#include "common/dsp/four_lanes.h"

typedef float PlanishEight __attribute__((vector_size(32)));
typedef int32_t PlanishEightMask __attribute__((vector_size(32)));
typedef uint32_t PlanishEightBits __attribute__((vector_size(32)));

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

PLANISH_INLINED PlanishEight planish_eight_all(float x)
{
  return (PlanishEight){x, x, x, x, x, x, x, x};
}

PLANISH_INLINED PlanishEight planish_eight_choose(PlanishEightMask mask, PlanishEight yes,
                                                  PlanishEight no)
{
  return (PlanishEight)((mask & (PlanishEightMask)yes) | (~mask & (PlanishEightMask)no));
}

/* Where a < b: where their difference has a sign. */
PLANISH_INLINED PlanishEightMask planish_eight_less(PlanishEight a, PlanishEight b)
{
  return (PlanishEightMask)(-((PlanishEightBits)(a - b) >> 31));
}

PLANISH_INLINED PlanishEight planish_eight_max(PlanishEight a, PlanishEight b)
{
  return planish_eight_choose(planish_eight_less(a, b), b, a);
}

/* The largest of the lanes. */
PLANISH_INLINED float planish_eight_largest(PlanishEight x)
{
  float largest = x[0];
  for (int i = 1; i < PLANISH_EIGHT; ++i) {
    largest = x[i] > largest ? x[i] : largest;
  }
  return largest;
}

#endif
