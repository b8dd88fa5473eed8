#include "common/dsp/levels.h"

#include "common/dsp/lanes_maths.h"
#include "common/dsp/wide.h"

PLANISH_WIDE static void find_levels(double floor, double *values, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; i += PLANISH_LANES) {
    const PlanishFour level = planish_four_level_of_power(planish_four_load(values + i));
    planish_four_store(values + i, planish_four_max(level, planish_all(floor)));
  }
}

void planish_levels_of_powers(PlanishKnownLevel *known, double floor, double *values,
                              uint32_t frames)
{
  const double last = values[frames - 1];
  if (planish_all_equal(values, known->power, frames)) {
    for (uint32_t i = 0; i < frames; ++i) {
      values[i] = known->level;
    }
    return;
  }
  for (uint32_t i = frames; i % PLANISH_LANES != 0; ++i) {
    values[i] = 1.0;
  }
  find_levels(floor, values, frames);
  *known = (PlanishKnownLevel){last, values[frames - 1]};
}
