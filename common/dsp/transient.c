#include "common/dsp/transient.h"

#include "common/dsp/held_envelope.h"
#include "common/dsp/lanes_maths.h"
#include "common/dsp/maths.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

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
  transient->level = (PlanishKnownLevel){FLOOR, FLOOR_DB};
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

enum { ROOM = PLANISH_GRID + PLANISH_LANES };

static void hold_power(PlanishTransient *transient, uint32_t channel, const double *x,
                       double *power, uint32_t frames)
{
  double mean = transient->mean[channel];
  for (uint32_t i = 0; i < frames; ++i) {
    mean += transient->mean_step * (x[i] * x[i] - mean);
    power[i] = mean;
  }
  transient->mean[channel] = mean;
  planish_sliding_max_process(&transient->held[channel], power, frames, transient->hold);
}

/* dB, of the louder channel. */
static void find_levels(PlanishTransient *transient, const double *const x[2], uint32_t channels,
                        double *level, uint32_t frames)
{
  hold_power(transient, 0, x[0], level, frames);
  if (channels == 2) {
    double second[PLANISH_GRID];
    hold_power(transient, 1, x[1], second, frames);
    for (uint32_t i = 0; i < frames; ++i) {
      level[i] = planish_max(level[i], second[i]);
    }
  }
  for (uint32_t i = 0; i < frames; ++i) {
    level[i] += FLOOR;
  }
  planish_levels_of_powers(&transient->level, PLANISH_SILENCE_DB, level, frames);
}

static inline double follow(double now, double target, double rise, double fall)
{
  return now + (target > now ? rise : fall) * (target - now);
}

/* How far the level has come up, and gone down, against a moment ago, beyond the dead zones; dB. */
static void find_ways(PlanishTransient *transient, const PlanishTransientTimes *times,
                      const double *level, double *up, double *down, uint32_t frames)
{
  const PlanishTransientTimes by = *times;
  double fast = transient->fast;
  double slow = transient->slow;
  double lingering = transient->lingering;
  for (uint32_t i = 0; i < frames; ++i) {
    fast = follow(fast, level[i], by.fast, by.fall);
    slow = planish_max(follow(slow, level[i], by.slow, by.fall), fast - CAP);
    lingering = planish_min(follow(lingering, level[i], by.fast, by.linger), fast + CAP);
    up[i] = fast - slow - DEAD_RISE;
    down[i] = lingering - fast - DEAD_FALL;
  }
  transient->fast = fast;
  transient->slow = slow;
  transient->lingering = lingering;
}

/* Ways to shares, in place; most are none. */
PLANISH_WIDE static void find_shares(double *ways, double range, uint32_t frames)
{
  const PlanishFour zero = planish_all(0.0);
  for (uint32_t i = 0; i < frames; i += PLANISH_LANES) {
    const PlanishFour way = planish_four_load(ways + i);
    const PlanishFourMask any = way > zero;
    PlanishFour share = zero;
    if (planish_four_any(any)) {
      share = planish_four_tanh(planish_all(STEEPNESS) * way / planish_all(range));
    }
    planish_four_store(ways + i, planish_four_where(any, share));
  }
}

void planish_transient_process(PlanishTransient *transient, const PlanishTransientTimes *times,
                               double range, const double *const x[2], uint32_t channels,
                               double *attack, double *decay, uint32_t frames)
{
  double level[ROOM];
  /* Attacks, then decays, so that few frames fill registers too. */
  double ways[2 * PLANISH_GRID + PLANISH_LANES];
  const uint32_t count = decay != NULL ? 2 * frames : frames;
  find_levels(transient, x, channels, level, frames);
  find_ways(transient, times, level, ways, ways + frames, frames);
  for (uint32_t i = count; i % PLANISH_LANES != 0; ++i) {
    ways[i] = 0.0;
  }
  find_shares(ways, range, count);
  memcpy(attack, ways, frames * sizeof *attack);
  if (decay != NULL) {
    memcpy(decay, ways + frames, frames * sizeof *decay);
  }
}
