#include "common/dsp/dynamic_gain.h"

#include "common/dsp/channel_link.h"
#include "common/dsp/lift_floor.h"

#include <string.h>

/* A whole that is quieter than this does not make its parts look loud. */
#define QUIETEST_WHOLE_DB (-80.0)

void planish_dynamic_gain_setup(PlanishDynamicGain *gain, PlanishArena *arena, double rate,
                                double max_hold, bool relative)
{
  gain->has_whole = relative;
  for (int c = 0; c < 2; ++c) {
    planish_level_detector_setup(&gain->band[c], arena, rate, max_hold);
    if (relative) {
      planish_level_detector_setup(&gain->whole[c], arena, rate, max_hold);
    }
  }
}

void planish_dynamic_gain_reset(PlanishDynamicGain *gain, double hold)
{
  gain->hold = hold;
  gain->whole_is_heard = false;
  memset(gain->smoother, 0, sizeof gain->smoother);
  planish_level_detector_reset(&gain->band[0], hold);
  planish_level_detector_reset(&gain->band[1], hold);
}

void planish_dynamic_gain_set_hold(PlanishDynamicGain *gain, double hold)
{
  gain->hold = hold;
  for (int c = 0; c < 2; ++c) {
    planish_level_detector_set(&gain->band[c], hold);
    if (gain->whole_is_heard) {
      planish_level_detector_set(&gain->whole[c], hold);
    }
  }
}

/* The whole's detectors rest while nobody asks for them, and begin anew. */
static void listen_to_whole(PlanishDynamicGain *gain, bool heard)
{
  if (heard && !gain->whole_is_heard) {
    planish_level_detector_reset(&gain->whole[0], gain->hold);
    planish_level_detector_reset(&gain->whole[1], gain->hold);
  }
  gain->whole_is_heard = heard;
}

static void detect(PlanishDynamicGain *gain, const PlanishGainLaw *law, PlanishTwo band,
                   PlanishTwo whole, uint32_t channels, PlanishLevels *levels)
{
  listen_to_whole(gain, gain->has_whole && law->relative > 0.0);
  for (uint32_t c = 0; c < channels; ++c) {
    levels[c] = planish_level_detector_next(&gain->band[c], band[c], law->mean_share);
    if (gain->whole_is_heard) {
      const PlanishLevels all =
          planish_level_detector_next(&gain->whole[c], whole[c], law->mean_share);
      levels[c].level -= law->relative * planish_max(all.level, QUIETEST_WHOLE_DB);
    }
  }
  if (channels == 2) {
    planish_link(&levels[0].level, &levels[1].level, law->link);
    planish_link(&levels[0].power, &levels[1].power, law->link);
  }
}

static PlanishGainParts target_at(const PlanishGainLaw *law, const PlanishLevels *levels)
{
  PlanishGainParts target = planish_gain_curve_at(&law->curve, levels->level);
  if (target.below > 0.0) {
    target.below *= planish_lift_share(levels->power, law->lift_floor);
  }
  return target;
}

PlanishGainPair planish_dynamic_gain_next(PlanishDynamicGain *gain, const PlanishGainLaw *law,
                                          const PlanishGainTimes *times, PlanishTwo band,
                                          PlanishTwo whole, uint32_t channels)
{
  PlanishLevels levels[2] = {{0}};
  PlanishGainPair gains = {0};
  detect(gain, law, band, whole, channels, levels);
  PlanishGainParts target = target_at(law, &levels[0]);
  gains.channel[0] = planish_gain_smoother_next(&gain->smoother[0], times, target);
  if (channels == 2) {
    /* Linked channels agree. */
    if (levels[1].level != levels[0].level || levels[1].power != levels[0].power) {
      target = target_at(law, &levels[1]);
    }
    gains.channel[1] = planish_gain_smoother_next(&gain->smoother[1], times, target);
  }
  return gains;
}
