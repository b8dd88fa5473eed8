/* Four frames in a row, or four of anything else, in one register: the compiler's vector type.
 * Where the processor has registers of two, each operation becomes two of them; with PLANISH_WIDE
 * there is a clone for those that have four. Arithmetic acts on all lanes; a scalar factor is
 * written planish_all().
 *
 * All of it is inlined, into every clone on its own. */
#ifndef PLANISH_DSP_FOUR_LANES_H
#define PLANISH_DSP_FOUR_LANES_H

#include <stdint.h>
#include <string.h>

typedef double PlanishFour __attribute__((vector_size(32)));
typedef int64_t PlanishFourMask __attribute__((vector_size(32)));

enum { PLANISH_LANES = 4 };

#define PLANISH_INLINED static inline __attribute__((always_inline))

PLANISH_INLINED PlanishFour planish_all(double x)
{
  return (PlanishFour){x, x, x, x};
}

/* From any place; it need not be aligned. */
PLANISH_INLINED PlanishFour planish_four_load(const double *from)
{
  PlanishFour four;
  memcpy(&four, from, sizeof four);
  return four;
}

PLANISH_INLINED void planish_four_store(double *to, PlanishFour four)
{
  memcpy(to, &four, sizeof four);
}

PLANISH_INLINED PlanishFour planish_four_choose(PlanishFourMask mask, PlanishFour yes,
                                                PlanishFour no)
{
  return (PlanishFour)((mask & (PlanishFourMask)yes) | (~mask & (PlanishFourMask)no));
}

PLANISH_INLINED PlanishFour planish_four_magnitude(PlanishFour x)
{
  const PlanishFourMask but_sign = {INT64_MAX, INT64_MAX, INT64_MAX, INT64_MAX};
  return (PlanishFour)((PlanishFourMask)x & but_sign);
}

/* As planish_max() in each lane. */
PLANISH_INLINED PlanishFour planish_four_max(PlanishFour a, PlanishFour b)
{
  return planish_four_choose(a > b, a, b);
}

/* The largest of the lanes. */
PLANISH_INLINED double planish_four_largest(PlanishFour x)
{
  const double low = x[0] > x[1] ? x[0] : x[1];
  const double high = x[2] > x[3] ? x[2] : x[3];
  return low > high ? low : high;
}

/* The largest magnitude of any count of values; 0 of none. */
PLANISH_INLINED double planish_largest_magnitude(const double *values, uint32_t count)
{
  PlanishFour largest = planish_all(0.0);
  uint32_t i = 0;
  for (; i + PLANISH_LANES <= count; i += PLANISH_LANES) {
    largest = planish_four_max(planish_four_magnitude(planish_four_load(values + i)), largest);
  }
  double most = planish_four_largest(largest);
  for (; i < count; ++i) {
    const double size = values[i] < 0.0 ? -values[i] : values[i];
    most = size > most ? size : most;
  }
  return most;
}

#endif
