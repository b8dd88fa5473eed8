#include "common/dsp/running_sum.h"

#include "common/dsp/four_lanes.h"
#include "common/dsp/wide.h"

enum { LANES = PLANISH_LANES, BLOCK = LANES * LANES };

typedef float FourFloats __attribute__((vector_size(16)));

/* Rows to columns. */
PLANISH_INLINED void transpose(PlanishFour x[LANES])
{
  const PlanishFour a = __builtin_shufflevector(x[0], x[1], 0, 4, 2, 6);
  const PlanishFour b = __builtin_shufflevector(x[0], x[1], 1, 5, 3, 7);
  const PlanishFour c = __builtin_shufflevector(x[2], x[3], 0, 4, 2, 6);
  const PlanishFour d = __builtin_shufflevector(x[2], x[3], 1, 5, 3, 7);
  x[0] = __builtin_shufflevector(a, c, 0, 1, 4, 5);
  x[1] = __builtin_shufflevector(b, d, 0, 1, 4, 5);
  x[2] = __builtin_shufflevector(a, c, 2, 3, 6, 7);
  x[3] = __builtin_shufflevector(b, d, 2, 3, 6, 7);
}

/* Sixteen places: the sums of each four side by side, and then one four after the other. */
PLANISH_INLINED void sum_block(double *restrict up, const float *restrict x, double each)
{
  PlanishFour sums[LANES];
  for (size_t i = 0; i < LANES; ++i) {
    FourFloats now;
    memcpy(&now, x + LANES * i, sizeof now);
    sums[i] = __builtin_convertvector(now, PlanishFour) + planish_all(each);
  }
  transpose(sums);
  sums[1] += sums[0];
  sums[2] += sums[1];
  sums[3] += sums[2];
  transpose(sums);
  PlanishFour so_far = planish_all(up[0]);
  for (size_t i = 0; i < LANES; ++i) {
    const PlanishFour sum = so_far + sums[i];
    planish_four_store(up + LANES * i + 1, sum);
    so_far = __builtin_shufflevector(sum, sum, 3, 3, 3, 3);
  }
}

PLANISH_WIDE void planish_running_sum(double *restrict up, const float *restrict x, double each,
                                      uint32_t count)
{
  uint32_t i = 0;
  for (; i + BLOCK <= count; i += BLOCK) {
    sum_block(up + i, x + i, each);
  }
  for (; i + LANES <= count; i += LANES) {
    const double one = (double)x[i] + each;
    const double two = one + ((double)x[i + 1] + each);
    const double three = two + ((double)x[i + 2] + each);
    up[i + 1] = up[i] + one;
    up[i + 2] = up[i] + two;
    up[i + 3] = up[i] + three;
    up[i + 4] = up[i] + (three + ((double)x[i + 3] + each));
  }
  for (; i < count; ++i) {
    up[i + 1] = up[i] + ((double)x[i] + each);
  }
}
