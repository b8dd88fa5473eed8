#include "common/dsp/level_detector.h"

#include "common/dsp/maths.h"

/* Peak over root mean square of a sine. */
#define SINE_CREST_DB 3.01029995663981195214

void planish_level_detector_setup(PlanishLevelDetector *detector, PlanishArena *arena, double rate,
                                  double max_hold)
{
  *detector = (PlanishLevelDetector){.rate = rate};
  const uint32_t longest = planish_hold_frames(max_hold, rate);
  planish_held_envelope_setup(&detector->envelope, arena, longest);
  planish_held_mean_square_setup(&detector->mean_square, arena, longest);
}

void planish_level_detector_reset(PlanishLevelDetector *detector, double hold)
{
  const PlanishKnownLevel silence = {0.0, PLANISH_LEVEL_FLOOR_DB};
  detector->hold_target = planish_hold_frames(hold, detector->rate);
  detector->hold = detector->hold_target;
  planish_held_envelope_reset(&detector->envelope);
  planish_held_mean_square_reset(&detector->mean_square, detector->hold);
  detector->peak = silence;
  detector->mean = silence;
}

void planish_level_detector_set(PlanishLevelDetector *detector, double hold)
{
  detector->hold_target = planish_hold_frames(hold, detector->rate);
}

static double level_of(PlanishKnownLevel *known, double power)
{
  if (power != known->power) {
    known->power = power;
    known->level = planish_max(planish_level_of_power(power), PLANISH_LEVEL_FLOOR_DB);
  }
  return known->level;
}

PlanishLevels planish_level_detector_next(PlanishLevelDetector *detector, double x,
                                          double mean_share)
{
  detector->hold = planish_hold_towards(detector->hold, detector->hold_target);
  const double peak_power = planish_held_envelope_next(&detector->envelope, x, detector->hold);
  const double mean_power =
      planish_held_mean_square_next(&detector->mean_square, x, detector->hold);
  const double peak = level_of(&detector->peak, peak_power);
  const double mean = level_of(&detector->mean, mean_power);
  return (PlanishLevels){
      .level = peak + mean_share * (mean + SINE_CREST_DB - peak),
      .power = mean,
  };
}
