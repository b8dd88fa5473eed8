#include "plugins/resonance/standing.h"

#include "common/dsp/maths.h"

/* On real music 20 % tells notes from resonances better than 30 % or more. */
static const double QUANTILE = 0.20;
/* Where every bin starts, dB. */
static const float START = -3.0F;
/* A step in dB is this times a share: that of the observation time in the long run, ... */
static const double STEP = 8.0;
static const double SHARE_OF_TIME = 2.0;
/* ... and at first a larger one, which shrinks with age: seconds, and the most. */
static const double EARLY_SHARE = 0.3;
static const double MOST_EARLY = 0.02;

void resonance_standing_setup(ResonanceStanding *standing, PlanishArena *arena, uint32_t bins,
                              double hop_seconds)
{
  standing->bins = bins;
  standing->hop_seconds = hop_seconds;
  standing->excess = planish_arena_take(arena, bins, sizeof(float));
}

void resonance_standing_reset(ResonanceStanding *standing)
{
  for (uint32_t k = 0; k < standing->bins; ++k) {
    standing->excess[k] = START;
  }
  standing->age = 0.0;
}

void resonance_standing_begin(ResonanceStanding *standing, double seconds, bool silent)
{
  if (silent) {
    standing->up = 0.0F;
    standing->down = 0.0F;
    return;
  }
  standing->age += standing->hop_seconds;
  const double early = planish_min(EARLY_SHARE / standing->age, MOST_EARLY);
  const double late = SHARE_OF_TIME * standing->hop_seconds / seconds;
  const double step = STEP * planish_max(early, late);
  standing->up = (float)(step * QUANTILE);
  standing->down = (float)(step * (1.0 - QUANTILE));
}

void resonance_standing_learn(ResonanceStanding *standing, const float *now, uint32_t from,
                              uint32_t to)
{
  float *const excess = standing->excess + from;
  const float up = standing->up;
  const float down = standing->down;
  for (uint32_t i = 0; i < to - from; ++i) {
    excess[i] += now[i] < excess[i] ? -down : up;
  }
}
