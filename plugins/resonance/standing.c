#include "plugins/resonance/standing.h"

#include "common/dsp/maths.h"
#include "common/dsp/wide.h"

#include <math.h>
#include <string.h>

/* Chosen on synthetic mixes and real music: this share of the time tells notes from resonances, ...
 */
static const double QUANTILE = 0.15;
/* ... and so many dB a step, times hops over the observation time, find 12 dB in 6 s. */
static const double STEP = 13.0;
/* Where every bin starts, dB. */
static const float START = -3.0F;
/* A step grows with the distance from this many dB on, up to so many times. */
static const float FAR = 3.0F;
static const float LONGEST = 3.0F;
/* The mean's time constant is this share of the observation time. */
static const double MEAN_SHARE = 0.5;

void resonance_standing_setup(ResonanceStanding *standing, PlanishArena *arena, uint32_t bins,
                              double hop_seconds)
{
  standing->bins = bins;
  standing->hop_seconds = hop_seconds;
  standing->quantile = planish_arena_take(arena, bins, sizeof(float));
  standing->mean = planish_arena_take(arena, bins, sizeof(float));
}

void resonance_standing_reset(ResonanceStanding *standing)
{
  for (uint32_t k = 0; k < standing->bins; ++k) {
    standing->quantile[k] = START;
  }
  memset(standing->mean, 0, standing->bins * sizeof(float));
}

void resonance_standing_begin(ResonanceStanding *standing, double seconds, bool silent)
{
  const double step = silent ? 0.0 : STEP * standing->hop_seconds / seconds;
  const double share = silent ? 0.0 : standing->hop_seconds / (MEAN_SHARE * seconds);
  standing->up = (float)(step * QUANTILE);
  standing->down = (float)(step * (1.0 - QUANTILE));
  standing->mean_share = (float)planish_min(share, 1.0);
}

PLANISH_WIDE void resonance_standing_learn(ResonanceStanding *standing, const float *now,
                                           uint32_t from, uint32_t to)
{
  float *const quantile = standing->quantile + from;
  float *const mean = standing->mean + from;
  const float up = standing->up;
  const float down = standing->down;
  for (uint32_t i = 0; i < to - from; ++i) {
    const float off = now[i] - quantile[i];
    const float far = fabsf(off) / FAR;
    const float length = far < 1.0F ? 1.0F : (far > LONGEST ? LONGEST : far);
    quantile[i] += length * (off < 0.0F ? -down : up);
    mean[i] += standing->mean_share * (now[i] - mean[i]);
  }
}

PLANISH_WIDE void resonance_standing_protect(const ResonanceStanding *standing, double protection,
                                             float *excess, float *reach, uint32_t from,
                                             uint32_t to)
{
  const float *const quantile = standing->quantile + from;
  const float *const mean = standing->mean + from;
  const float share = (float)protection;
  for (uint32_t i = 0; i < to - from; ++i) {
    const float now = excess[i];
    const float lower = quantile[i] < now ? quantile[i] : now;
    const float far = now + share * (mean[i] - now);
    excess[i] = now + share * (lower - now);
    reach[i] = far > 0.0F ? far : 0.0F;
  }
}
