#include "common/dsp/transient.h"

#include "common/dsp/held_envelope.h"
#include "common/dsp/maths.h"
#include "common/dsp/tanh.h"
#include "common/dsp/trig.h"

#define MEAN_MS   2.0
#define FAST_MS   0.5
#define FALL_MS   60.0
#define LINGER    6.0   /* lengths that the late fall takes longer */
#define FLOOR     1e-12 /* power, -120 dB: below it nothing rises or falls */
#define CAP       40.0  /* dB */
#define DEAD_RISE 0.5   /* dB, in which a level may ripple */
#define DEAD_FALL 1.5
#define STEEPNESS 1.5 /* of the share, in ranges */
#define FLOOR_DB  (-120.0)

static double share_of(double ms, double rate)
{
  return 1.0 - planish_exp(-1000.0 / (ms * rate));
}

void planish_transient_setup(PlanishTransient *transient, PlanishArena *arena, double rate)
{
  transient->hold = planish_hold_frames(PLANISH_TRANSIENT_HOLD_MS, rate);
  for (int c = 0; c < 2; ++c) {
    planish_sliding_max_setup(&transient->held[c], arena, transient->hold);
  }
  transient->mean_step = share_of(MEAN_MS, rate);
}

void planish_transient_reset(PlanishTransient *transient)
{
  for (int c = 0; c < 2; ++c) {
    planish_sliding_max_reset(&transient->held[c]);
    transient->mean[c] = 0.0;
  }
  transient->power = 0.0;
  transient->level = FLOOR_DB;
  transient->fast = transient->slow = transient->lingering = FLOOR_DB;
}

PlanishTransientTimes planish_transient_times(double length, double rate)
{
  return (PlanishTransientTimes){
      .fast = share_of(FAST_MS, rate),
      .slow = share_of(length, rate),
      .fall = share_of(FALL_MS, rate),
      .linger = share_of(FALL_MS + LINGER * length, rate),
  };
}

static double held_power(PlanishTransient *transient, int channel, double x)
{
  double *const mean = &transient->mean[channel];
  *mean += transient->mean_step * (x * x - *mean);
  return planish_sliding_max_next(&transient->held[channel], *mean, transient->hold);
}

static double follow(double now, double target, double rise, double fall)
{
  return now + (target > now ? rise : fall) * (target - now);
}

static double share_of_way(double way, double range)
{
  return way > 0.0 ? planish_tanh(STEEPNESS * way / range) : 0.0;
}

PlanishTransientShares planish_transient_next(PlanishTransient *transient,
                                              const PlanishTransientTimes *times, double range,
                                              const double x[2], uint32_t channels)
{
  double power = held_power(transient, 0, x[0]);
  if (channels == 2) {
    power = planish_max(power, held_power(transient, 1, x[1]));
  }
  /* Held powers stand still most of the time. */
  if (power != transient->power) {
    transient->power = power;
    transient->level = planish_level_of_power(power + FLOOR);
  }
  const double level = transient->level;
  transient->fast = follow(transient->fast, level, times->fast, times->fall);
  transient->slow =
      planish_max(follow(transient->slow, level, times->slow, times->fall), transient->fast - CAP);
  transient->lingering = planish_min(
      follow(transient->lingering, level, times->fast, times->linger), transient->fast + CAP);
  return (PlanishTransientShares){
      .attack = share_of_way(transient->fast - transient->slow - DEAD_RISE, range),
      .decay = share_of_way(transient->lingering - transient->fast - DEAD_FALL, range),
  };
}
