#include "common/dsp/level_detector.h"

#include "common/dsp/four_lanes.h"

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

/* At one hold. */
static void process(PlanishLevelDetector *detector, const double *x, double mean_share,
                    double *level, double *power, uint32_t frames)
{
  double peak[PLANISH_GRID + PLANISH_LANES];
  double mean[PLANISH_GRID + PLANISH_LANES];
  planish_held_envelope_process(&detector->envelope, x, peak, frames, detector->hold);
  planish_held_mean_square_process(&detector->mean_square, x, mean, frames, detector->hold);
  planish_levels_of_powers(&detector->peak, PLANISH_LEVEL_FLOOR_DB, peak, frames);
  planish_levels_of_powers(&detector->mean, PLANISH_LEVEL_FLOOR_DB, mean, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    level[i] = peak[i] + mean_share * (mean[i] + SINE_CREST_DB - peak[i]);
    power[i] = mean[i];
  }
}

void planish_level_detector_process(PlanishLevelDetector *detector, const double *x,
                                    double mean_share, double *level, double *power,
                                    uint32_t frames)
{
  uint32_t done = 0;
  for (; done < frames && detector->hold != detector->hold_target; ++done) {
    detector->hold = planish_hold_towards(detector->hold, detector->hold_target);
    process(detector, x + done, mean_share, level + done, power + done, 1);
  }
  if (done < frames) {
    process(detector, x + done, mean_share, level + done, power + done, frames - done);
  }
}
