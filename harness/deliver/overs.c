#include "harness/deliver/overs.h"

#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"
#include "harness/render/landing.h"

void planish_overs_samples(PlanishOvers *overs, const float *samples, size_t count)
{
  for (size_t n = 0; n < count; ++n) {
    overs->samples += samples[n] > 1.0f || samples[n] < -1.0f;
  }
}

void planish_overs_step(void *user, uint64_t step, double magnitude)
{
  PlanishOvers *overs = user;
  const double level = planish_level_of(magnitude);
  if (level <= overs->ceiling + PLANISH_LANDING_OVER) {
    return;
  }
  if (overs->places == 0 || step != overs->last) {
    if (overs->places < PLANISH_PLACES_KEPT) {
      overs->at[overs->places] = (double)step / PLANISH_LOUDNESS_STEPS_PER_S;
      overs->height[overs->places] = level;
    }
    overs->places += 1;
  }
  overs->last = step + 1;
  overs->highest = fmax(overs->highest, level);
  if (overs->places <= PLANISH_PLACES_KEPT) {
    double *height = &overs->height[overs->places - 1];
    *height = fmax(*height, level);
  }
}
