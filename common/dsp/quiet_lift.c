#include "common/dsp/quiet_lift.h"

#include "common/dsp/glide.h"
#include "common/dsp/maths.h"

#include <string.h>

/* No lift from LOUD_DB up, all of it from QUIET_DB down: 12 dB apart, so that even 6 dB of lift
 * leave louder louder (the steepest slope of the curve is 1.875 / 12 a dB). */
#define LOUD_DB  (-12.0)
#define QUIET_DB (-24.0)

/* Music at -30 dB of power reaches peaks of -15 dB; it is quiet all the same. */
#define PEAK_ALLOWANCE_DB 8.0

#define FLOOR_FADE_DB 8.0
#define LOWEST_DB     (-120.0)
/* At least; see slot_grids_of(). */
#define SLOT_SECONDS (1.0 / PLANISH_QUIET_LIFT_SLOTS)
#define FALL_SECONDS 0.2
#define FULL_LIFT_DB 6.0

enum { POWER_SLOTS = PLANISH_QUIET_LIFT_SLOTS / 2 };

/* A power of two, so that slots divide 65,536 frames, a renderer's step when it runs a chain in:
 * an excerpt then cuts its slots where the whole does. */
static uint32_t slot_grids_of(double rate)
{
  uint32_t grids = 1;
  while (grids * PLANISH_GRID < rate * SLOT_SECONDS) {
    grids *= 2;
  }
  return grids;
}

void planish_quiet_lift_setup(PlanishQuietLift *lift, double rate)
{
  *lift = (PlanishQuietLift){0};
  lift->slot_grids = slot_grids_of(rate);
  lift->fall = planish_min(1.0, PLANISH_GRID / (rate * FALL_SECONDS));
  lift->step = FULL_LIFT_DB * PLANISH_GRID / (rate * PLANISH_GLIDE_MS * 1e-3);
  planish_quiet_lift_reset(lift);
}

void planish_quiet_lift_reset(PlanishQuietLift *lift)
{
  memset(lift->peaks, 0, sizeof lift->peaks);
  memset(lift->powers, 0, sizeof lift->powers);
  lift->held_peak = 0.0;
  lift->held_power_db = LOWEST_DB;
  lift->slot_peak = 0.0;
  lift->slot_power = 0.0;
  lift->loud_db = LOWEST_DB;
  lift->power_db = LOWEST_DB;
  lift->floor_weight = 0.0;
  lift->lift = 0.0;
  lift->slot = 0;
  lift->grid = 0;
  lift->frame = 0;
}

void planish_quiet_lift_set(PlanishQuietLift *lift, double amount, double floor, bool at_once)
{
  lift->target = amount;
  lift->floor = floor;
  if (at_once) {
    lift->amount = amount;
  }
}

static double lift_at(const PlanishQuietLift *lift)
{
  const double quiet = planish_smoothstep((LOUD_DB - lift->loud_db) / (LOUD_DB - QUIET_DB));
  return lift->amount * quiet * lift->floor_weight;
}

static void end_slot(PlanishQuietLift *lift)
{
  const double frames = (double)lift->slot_grids * PLANISH_GRID;
  lift->peaks[lift->slot] = lift->slot_peak;
  lift->powers[lift->slot] = lift->slot_power / frames;
  double power = 0.0;
  for (uint32_t i = 0; i < POWER_SLOTS; ++i) {
    const uint32_t back = (lift->slot + PLANISH_QUIET_LIFT_SLOTS - i) % PLANISH_QUIET_LIFT_SLOTS;
    power = planish_max(power, lift->powers[back]);
  }
  lift->held_power_db = planish_max(LOWEST_DB, planish_level_of_power(power));
  lift->held_peak = 0.0;
  for (uint32_t i = 0; i < PLANISH_QUIET_LIFT_SLOTS; ++i) {
    lift->held_peak = planish_max(lift->held_peak, lift->peaks[i]);
  }
  lift->slot = (lift->slot + 1) % PLANISH_QUIET_LIFT_SLOTS;
  lift->slot_peak = 0.0;
  lift->slot_power = 0.0;
  lift->grid = 0;
}

static double loudness_of_peak(double peak)
{
  return planish_level_of(peak) - PEAK_ALLOWANCE_DB;
}

/* What moves slowly moves here, once a grid interval. */
static void end_grid_interval(PlanishQuietLift *lift)
{
  if (++lift->grid == lift->slot_grids) {
    end_slot(lift);
  }
  const double way = lift->target - lift->amount;
  lift->amount = fabs(way) <= lift->step ? lift->target
                                         : lift->amount + (way > 0.0 ? lift->step : -lift->step);
  const double loud = planish_max(lift->held_power_db, loudness_of_peak(lift->held_peak));
  lift->loud_db += (loud - lift->loud_db) * (loud > lift->loud_db ? 1.0 : lift->fall);
  lift->power_db += (lift->held_power_db - lift->power_db) * lift->fall;
  lift->floor_weight =
      planish_smoothstep((lift->power_db - lift->floor + FLOOR_FADE_DB) / FLOOR_FADE_DB);
  lift->lift = lift_at(lift);
}

static void take_peak(PlanishQuietLift *lift, double peak)
{
  lift->slot_peak = planish_max(lift->slot_peak, peak);
  if (peak > lift->held_peak) {
    lift->held_peak = peak;
    lift->loud_db = planish_max(lift->loud_db, loudness_of_peak(peak));
    lift->lift = lift_at(lift);
  }
}

void planish_quiet_lift_process(PlanishQuietLift *lift, double *const *audio, double *const *peaks,
                                uint32_t channels, uint32_t frames, double *lift_db)
{
  for (uint32_t i = 0; i < frames; ++i) {
    double peak = peaks[0][i];
    double power = audio[0][i] * audio[0][i];
    if (channels == 2) {
      peak = planish_max(peak, peaks[1][i]);
      power = 0.5 * (power + audio[1][i] * audio[1][i]);
    }
    lift->slot_power += power;
    take_peak(lift, peak);
    lift_db[i] = lift->lift;
    if (++lift->frame == PLANISH_GRID) {
      lift->frame = 0;
      end_grid_interval(lift);
    }
  }
}
