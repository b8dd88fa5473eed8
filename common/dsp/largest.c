#include "common/dsp/largest.h"

#include "common/dsp/four_lanes.h"
#include "common/dsp/maths.h"
#include "common/dsp/wide.h"

/* Registers side by side, so that none waits for the one before. */
enum { REGISTERS = 2, AT_ONCE = REGISTERS * PLANISH_LANES };

/* Short registers compare by signs (four_lanes.h), long ones need not. */
PLANISH_INLINED PlanishFour larger(PlanishFour value, PlanishFour than, bool wide)
{
  return wide ? planish_four_choose((PlanishFourMask)(value > than), value, than)
              : planish_four_max(than, value);
}

PLANISH_INLINED double largest_of(const double *values, uint32_t count, bool of_magnitude,
                                  bool wide)
{
  PlanishFour largest[REGISTERS] = {{0.0}};
  uint32_t i = 0;
  for (; i + AT_ONCE <= count; i += AT_ONCE) {
    for (size_t r = 0; r < REGISTERS; ++r) {
      const PlanishFour value = planish_four_load(values + i + r * PLANISH_LANES);
      largest[r] = larger(of_magnitude ? planish_four_magnitude(value) : value, largest[r], wide);
    }
  }
  double most = planish_four_largest(larger(largest[1], largest[0], wide));
  for (; i < count; ++i) {
    most = planish_max(of_magnitude ? fabs(values[i]) : values[i], most);
  }
  return most;
}

PLANISH_WIDE_ALONE static double find_wide(const double *values, uint32_t count, bool of_magnitude)
{
  return of_magnitude ? largest_of(values, count, true, true)
                      : largest_of(values, count, false, true);
}

static double find_plain(const double *values, uint32_t count, bool of_magnitude)
{
  return of_magnitude ? largest_of(values, count, true, false)
                      : largest_of(values, count, false, false);
}

static double find(const double *values, uint32_t count, bool of_magnitude)
{
  return planish_is_wide() ? find_wide(values, count, of_magnitude)
                           : find_plain(values, count, of_magnitude);
}

double planish_largest(const double *values, uint32_t count)
{
  return find(values, count, false);
}

double planish_largest_magnitude(const double *values, uint32_t count)
{
  return find(values, count, true);
}
