/* maths.h on four values at once, with the same bits in each lane (tests/unit/test_lanes_maths.c).
 *
 * Powers of two go through the bits of a double by additions and logical shifts alone: SSE2 has no
 * arithmetic shift of 64 bits and no conversion of integers of that size.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_LANES_MATHS_H
#define PLANISH_DSP_LANES_MATHS_H

#include "common/dsp/four_lanes.h"
#include "common/dsp/maths.h"

#include <stdbool.h>

typedef uint64_t PlanishFourBits __attribute__((vector_size(32)));

/* As planish_clamp(). */
PLANISH_INLINED PlanishFour planish_four_clamp(PlanishFour x, PlanishFour low, PlanishFour high)
{
  return planish_four_choose(x < low, low, planish_four_choose(x > high, high, x));
}

/* Where `mask` is set x, else 0. */
PLANISH_INLINED PlanishFour planish_four_where(PlanishFourMask mask, PlanishFour x)
{
  return (PlanishFour)(mask & (PlanishFourMask)x);
}

PLANISH_INLINED PlanishFourBits planish_four_bits(uint64_t bits)
{
  return (PlanishFourBits){bits, bits, bits, bits};
}

/* As planish_exp2(). */
PLANISH_INLINED PlanishFour planish_four_exp2(PlanishFour x)
{
  const PlanishFour nearest = planish_all(6755399441055744.0); /* 1.5 * 2^52 */
  x = planish_four_clamp(x, planish_all(-1000.0), planish_all(1000.0));
  const PlanishFour shifted = x + nearest;
  const PlanishFour y = (x - (shifted - nearest)) * planish_all(0.693147180559945309417);
  PlanishFour p = planish_all(1.0 / 6227020800.0);
  p = p * y + planish_all(1.0 / 479001600.0);
  p = p * y + planish_all(1.0 / 39916800.0);
  p = p * y + planish_all(1.0 / 3628800.0);
  p = p * y + planish_all(1.0 / 362880.0);
  p = p * y + planish_all(1.0 / 40320.0);
  p = p * y + planish_all(1.0 / 5040.0);
  p = p * y + planish_all(1.0 / 720.0);
  p = p * y + planish_all(1.0 / 120.0);
  p = p * y + planish_all(1.0 / 24.0);
  p = p * y + planish_all(1.0 / 6.0);
  p = p * y + planish_all(0.5);
  p = p * y + planish_all(1.0);
  p = p * y + planish_all(1.0);
  /* The whole number stands in the low bits of `shifted`; the exponent of 1 is 1023. */
  const PlanishFourBits scale =
      ((PlanishFourBits)shifted << 52) + planish_four_bits((uint64_t)1023 << 52);
  return p * (PlanishFour)scale;
}

/* As planish_log2(). */
PLANISH_INLINED PlanishFour planish_four_log2(PlanishFour x)
{
  /* Counted from 1024 exponents further down, so that none is negative. */
  const PlanishFourBits bits = (PlanishFourBits)x;
  const PlanishFourBits exponent =
      (bits - planish_four_bits(0x3fe6a09e667f3bcd - ((uint64_t)1024 << 52))) >> 52;
  const PlanishFour m =
      (PlanishFour)(bits - (exponent << 52) + planish_four_bits((uint64_t)1024 << 52));
  /* As the low bits of 2^52. */
  const PlanishFour whole = (PlanishFour)(exponent | planish_four_bits(0x4330000000000000)) -
                            planish_all(4503599627370496.0 + 1024.0);
  const PlanishFour s = (m - planish_all(1.0)) / (m + planish_all(1.0));
  const PlanishFour z = s * s;
  PlanishFour p = planish_all(1.0 / 23.0);
  p = p * z + planish_all(1.0 / 21.0);
  p = p * z + planish_all(1.0 / 19.0);
  p = p * z + planish_all(1.0 / 17.0);
  p = p * z + planish_all(1.0 / 15.0);
  p = p * z + planish_all(1.0 / 13.0);
  p = p * z + planish_all(1.0 / 11.0);
  p = p * z + planish_all(1.0 / 9.0);
  p = p * z + planish_all(1.0 / 7.0);
  p = p * z + planish_all(1.0 / 5.0);
  p = p * z + planish_all(1.0 / 3.0);
  p = p * z + planish_all(1.0);
  return whole + s * p * planish_all(2.88539008177792681472);
}

/* As planish_gain_of(). */
PLANISH_INLINED PlanishFour planish_four_gain_of(PlanishFour db)
{
  return planish_four_exp2(db * planish_all(PLANISH_DB_TO_LOG2));
}

/* As planish_level_of_power(). */
PLANISH_INLINED PlanishFour planish_four_level_of_power(PlanishFour power)
{
  const PlanishFour level = planish_four_log2(power) * planish_all(0.5 * PLANISH_LOG2_TO_DB);
  return planish_four_choose(power < planish_all(1e-100), planish_all(PLANISH_SILENCE_DB), level);
}

/* As planish_level_of(). */
PLANISH_INLINED PlanishFour planish_four_level_of(PlanishFour magnitude)
{
  const PlanishFour level = planish_four_log2(magnitude) * planish_all(PLANISH_LOG2_TO_DB);
  return planish_four_choose((PlanishFourMask)(magnitude < planish_all(1e-50)),
                             planish_all(PLANISH_SILENCE_DB), level);
}

/* As planish_smoothstep(). */
PLANISH_INLINED PlanishFour planish_four_smoothstep(PlanishFour x)
{
  x = planish_four_clamp(x, planish_all(0.0), planish_all(1.0));
  return x * x * x * (x * (planish_all(6.0) * x - planish_all(15.0)) + planish_all(10.0));
}

/* As planish_tanh() (tanh.h). */
PLANISH_INLINED PlanishFour planish_four_tanh(PlanishFour x)
{
  const PlanishFour e =
      planish_four_exp2(planish_all(-2.0 * 1.44269504088896340736) * planish_four_magnitude(x));
  const PlanishFour t = (planish_all(1.0) - e) / (planish_all(1.0) + e);
  return planish_four_choose(x < planish_all(0.0), -t, t);
}

/* As planish_soft_bound() (tanh.h). */
PLANISH_INLINED PlanishFour planish_four_soft_bound(PlanishFour v, double range)
{
  if (!(range > 0.0)) {
    return planish_all(0.0);
  }
  return planish_all(range) * planish_four_tanh(v / planish_all(range));
}

PLANISH_INLINED bool planish_four_any(PlanishFourMask mask)
{
  return (mask[0] | mask[1] | mask[2] | mask[3]) != 0;
}

/* Whether all of any count of values are equal to `value`. */
PLANISH_INLINED bool planish_all_equal(const double *values, double value, uint32_t count)
{
  bool same = true;
  for (uint32_t i = 0; i < count; ++i) {
    same &= values[i] == value;
  }
  return same;
}

#endif
