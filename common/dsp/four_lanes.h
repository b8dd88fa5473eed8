/* Four frames in a row in one register: the compiler's vector type. Where the processor has
 * registers of two, each operation becomes two of them; with PLANISH_WIDE there is a clone for
 * those that have four. Arithmetic acts on all lanes; a scalar factor is written planish_all().
 *
 * Comparisons are made from signs: gcc 12 takes a comparison of four lanes apart, one by one, where
 * registers have two, and takes signs as they are.
 *
 * All of it is inlined, into every clone on its own. */
#ifndef PLANISH_DSP_FOUR_LANES_H
#define PLANISH_DSP_FOUR_LANES_H

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

typedef double PlanishFour __attribute__((vector_size(32)));
typedef uint64_t PlanishFourMask __attribute__((vector_size(32)));

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
  const uint64_t but_sign = INT64_MAX;
  return (PlanishFour)((PlanishFourMask)x &
                       (PlanishFourMask){but_sign, but_sign, but_sign, but_sign});
}

/* Where a < b: where their difference has a sign. */
PLANISH_INLINED PlanishFourMask planish_four_less(PlanishFour a, PlanishFour b)
{
  return -((PlanishFourMask)(a - b) >> 63);
}

PLANISH_INLINED PlanishFour planish_four_max(PlanishFour a, PlanishFour b)
{
  return planish_four_choose(planish_four_less(a, b), b, a);
}

/* The larger of a number and 0, exactly. */
PLANISH_INLINED PlanishFour planish_four_above_zero(PlanishFour x)
{
  return planish_all(0.5) * (x + planish_four_magnitude(x));
}

/* One number with the sign of another, in place of its own. */
PLANISH_INLINED PlanishFour planish_four_with_sign(PlanishFour size, PlanishFour sign)
{
  const uint64_t bit = UINT64_C(1) << 63;
  const PlanishFourMask bits = {bit, bit, bit, bit};
  return (PlanishFour)(((PlanishFourMask)size & ~bits) | ((PlanishFourMask)sign & bits));
}

/* The largest of the lanes. */
PLANISH_INLINED double planish_four_largest(PlanishFour x)
{
  const double low = x[0] > x[1] ? x[0] : x[1];
  const double high = x[2] > x[3] ? x[2] : x[3];
  return low > high ? low : high;
}

#endif
