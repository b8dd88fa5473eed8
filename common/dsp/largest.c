#include "common/dsp/largest.h"

#include "common/dsp/maths.h"
#include "common/dsp/two_lanes.h"
#include "common/dsp/wide.h"

#include <stdbool.h>
#include <string.h>

/* Registers side by side, so that none waits for the one before. Of two lanes each: all processors
 * compare those at once (four_lanes.h). */
enum { REGISTERS = 4, AT_ONCE = 2 * REGISTERS };

typedef int64_t Mask __attribute__((vector_size(16)));

static inline PlanishTwo larger(PlanishTwo value, PlanishTwo than)
{
  const Mask is_larger = value > than;
  return (PlanishTwo)((is_larger & (Mask)value) | (~is_larger & (Mask)than));
}

static inline PlanishTwo magnitude(PlanishTwo x)
{
  return (PlanishTwo)((Mask)x & (Mask){INT64_MAX, INT64_MAX});
}

static inline double largest_of(const double *values, uint32_t count, bool of_magnitude)
{
  PlanishTwo largest[REGISTERS] = {{0.0}};
  uint32_t i = 0;
  for (; i + AT_ONCE <= count; i += AT_ONCE) {
    PlanishTwo value[REGISTERS];
    memcpy(value, values + i, sizeof value);
    for (int r = 0; r < REGISTERS; ++r) {
      largest[r] = larger(of_magnitude ? magnitude(value[r]) : value[r], largest[r]);
    }
  }
  const PlanishTwo two = larger(larger(largest[0], largest[1]), larger(largest[2], largest[3]));
  double most = planish_max(two[0], two[1]);
  for (; i < count; ++i) {
    most = planish_max(of_magnitude ? fabs(values[i]) : values[i], most);
  }
  return most;
}

PLANISH_WIDE double planish_largest(const double *values, uint32_t count)
{
  return largest_of(values, count, false);
}

PLANISH_WIDE double planish_largest_magnitude(const double *values, uint32_t count)
{
  return largest_of(values, count, true);
}
