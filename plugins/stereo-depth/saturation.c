#include "plugins/stereo-depth/saturation.h"

#include "common/dsp/maths.h"
#include "common/dsp/trig.h"

#include <string.h>

enum { TAPS = PLANISH_OVERSAMPLER_TAPS, RATIO = 2 };

#define DEPTH     0.1   /* of the cube at 100 %: a third harmonic 32 dB down */
#define HOLD_MS   20.0  /* half a period of 25 Hz */
#define FALL_MS   200.0 /* of the slow envelope */
#define SETTLE_MS 500.0
#define SILENCE   1e-20 /* power under which nothing is saturated */

void planish_saturation_setup(PlanishSaturation *saturation, PlanishArena *arena, double rate)
{
  planish_oversampler_setup(&saturation->filters, arena, RATIO, 0.0);
  planish_decimator_setup(&saturation->decimator, arena);
  saturation->hold = planish_hold_frames(HOLD_MS, rate);
  saturation->fall = 1.0 - planish_exp(-1000.0 / (FALL_MS * rate));
  saturation->settling = 1.0 - planish_exp(-1000.0 / (SETTLE_MS * rate));
  for (int b = 0; b < PLANISH_DEPTH_BANDS; ++b) {
    planish_held_envelope_setup(&saturation->bands[b].envelope, arena, saturation->hold);
  }
}

void planish_saturation_reset(PlanishSaturation *saturation)
{
  planish_decimator_reset(&saturation->decimator);
  for (int b = 0; b < PLANISH_DEPTH_BANDS; ++b) {
    PlanishSaturatedBand *band = &saturation->bands[b];
    planish_held_envelope_reset(&band->envelope);
    band->power = 0.0;
    memset(band->past, 0, sizeof band->past);
  }
  saturation->at = 0;
  saturation->with_side = 0.0;
  saturation->side_power = 0.0;
}

/* Takes a frame of a band; adds what it gives to the fine samples of this frame. */
static bool add_band(PlanishSaturation *saturation, PlanishSaturatedBand *band, double x,
                     double amount, double fine[RATIO])
{
  const double held = planish_held_envelope_next(&band->envelope, x, saturation->hold);
  band->power = planish_max(held, band->power + saturation->fall * (held - band->power));
  band->past[saturation->at] = x;
  band->past[saturation->at + TAPS] = x;
  if (amount == 0.0 || band->power < SILENCE) {
    return false;
  }
  _Alignas(16) double up[PLANISH_OVERSAMPLER_MAX_RATIO];
  planish_oversampler_up(&saturation->filters, band->past + saturation->at + 1, up);
  for (int n = 0; n < RATIO; ++n) {
    /* Between the frames a little more than e may stand. */
    fine[n] += amount * DEPTH * up[n] * planish_min(up[n] * up[n] / band->power, 1.0);
  }
  return true;
}

/* Leaves out of the residue what is in it of the side itself, which goes up and down with what is
 * asked for: the share of it is learnt, not its level. */
static double give_back(PlanishSaturation *saturation, double residue, double asked)
{
  const double step = saturation->settling;
  saturation->with_side += step * (residue * asked - saturation->with_side);
  saturation->side_power += step * (asked * asked - saturation->side_power);
  if (saturation->side_power < SILENCE) {
    return residue;
  }
  return residue - asked * saturation->with_side / saturation->side_power;
}

static double largest_of(const double amounts[PLANISH_DEPTH_BANDS])
{
  return planish_max(planish_max(amounts[PLANISH_DEPTH_LOW], amounts[PLANISH_DEPTH_MIDDLE]),
                     amounts[PLANISH_DEPTH_HIGH]);
}

double planish_saturation_next(PlanishSaturation *saturation,
                               const PlanishTwo bands[PLANISH_DEPTH_BANDS],
                               const double amounts[PLANISH_DEPTH_BANDS], double late)
{
  double fine[RATIO] = {0.0};
  bool any = false;
  saturation->at = (saturation->at + 1) % TAPS;
  for (int b = 0; b < PLANISH_DEPTH_BANDS; ++b) {
    any = add_band(saturation, &saturation->bands[b], bands[b][0], amounts[b], fine) || any;
  }
  const double residue =
      planish_decimator_process(&saturation->decimator, &saturation->filters, any ? fine : NULL);
  if (!any && residue == 0.0) {
    return 0.0;
  }
  return give_back(saturation, residue, largest_of(amounts) * late);
}
