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
  saturation->with_side = 0.0;
  saturation->side_power = 0.0;
}

/* The fine samples that the bands give, and where there are any. */
typedef struct {
  double fine[PLANISH_GRID][RATIO];
  bool any[PLANISH_GRID];
} Given;

/* The block behind what the filter still sees of the past. */
static void take(PlanishSaturatedBand *band, const double *x, uint32_t frames)
{
  memcpy(band->past + TAPS - 1, x, frames * sizeof *x);
}

static void forget(PlanishSaturatedBand *band, uint32_t frames)
{
  memmove(band->past, band->past + frames, (TAPS - 1) * sizeof *band->past);
}

/* The square of the slow envelope, from that of the fast one, in place. */
static void slow_down(const PlanishSaturation *saturation, PlanishSaturatedBand *band,
                      double *power, uint32_t frames)
{
  double slow = band->power;
  for (uint32_t i = 0; i < frames; ++i) {
    slow = planish_max(power[i], slow + saturation->fall * (power[i] - slow));
    power[i] = slow;
  }
  band->power = slow;
}

static void add_band(PlanishSaturation *saturation, PlanishSaturatedBand *band, const double *x,
                     double amount, Given *given, uint32_t frames)
{
  double power[PLANISH_GRID];
  planish_held_envelope_process(&band->envelope, x, power, frames, saturation->hold);
  slow_down(saturation, band, power, frames);
  take(band, x, frames);
  for (uint32_t i = 0; i < frames && amount != 0.0; ++i) {
    _Alignas(16) double up[PLANISH_OVERSAMPLER_MAX_RATIO];
    if (power[i] < SILENCE) {
      continue;
    }
    planish_oversampler_up(&saturation->filters, band->past + i, up);
    for (int n = 0; n < RATIO; ++n) {
      /* Between the frames a little more than e may stand. */
      given->fine[i][n] += amount * DEPTH * up[n] * planish_min(up[n] * up[n] / power[i], 1.0);
    }
    given->any[i] = true;
  }
  forget(band, frames);
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

void planish_saturation_process(PlanishSaturation *saturation, double (*side)[PLANISH_GRID],
                                const double amounts[PLANISH_DEPTH_BANDS], const double *late,
                                double *residue, uint32_t frames)
{
  Given given;
  for (uint32_t i = 0; i < frames; ++i) {
    given.fine[i][0] = 0.0;
    given.fine[i][1] = 0.0;
    given.any[i] = false;
  }
  for (int b = 0; b < PLANISH_DEPTH_BANDS; ++b) {
    add_band(saturation, &saturation->bands[b], side[b], amounts[b], &given, frames);
  }
  const double largest = largest_of(amounts);
  for (uint32_t i = 0; i < frames; ++i) {
    residue[i] = planish_decimator_process(&saturation->decimator, &saturation->filters,
                                           given.any[i] ? given.fine[i] : NULL);
    if (given.any[i] || residue[i] != 0.0) {
      residue[i] = give_back(saturation, residue[i], largest * late[i]);
    }
  }
}
