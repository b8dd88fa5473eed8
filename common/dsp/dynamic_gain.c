#include "common/dsp/dynamic_gain.h"

#include "common/dsp/channel_link.h"
#include "common/dsp/lanes_maths.h"
#include "common/dsp/lift_floor.h"
#include "common/dsp/wide.h"

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

enum { BLOCK = PLANISH_GRID };

/* Of a block, by channel; with room for whole registers. */
typedef struct {
  double level[2][BLOCK + PLANISH_LANES];
  double power[2][BLOCK + PLANISH_LANES];
} Levels;

typedef struct {
  double above[2][BLOCK + PLANISH_LANES];
  double below[2][BLOCK + PLANISH_LANES];
} Targets;

static void detect(PlanishDynamicGain *gain, const PlanishGainLaw *law, const double *const band[2],
                   const double *const whole[2], uint32_t channels, Levels *levels, uint32_t frames)
{
  listen_to_whole(gain, gain->has_whole && law->relative > 0.0);
  for (uint32_t c = 0; c < channels; ++c) {
    double *level = levels->level[c];
    planish_level_detector_process(&gain->band[c], band[c], law->mean_share, level,
                                   levels->power[c], frames);
    if (gain->whole_is_heard) {
      double all[BLOCK];
      double ignored[BLOCK];
      planish_level_detector_process(&gain->whole[c], whole[c], law->mean_share, all, ignored,
                                     frames);
      for (uint32_t i = 0; i < frames; ++i) {
        level[i] -= law->relative * planish_max(all[i], QUIETEST_WHOLE_DB);
      }
    }
  }
  for (uint32_t i = 0; i < frames && channels == 2; ++i) {
    planish_link(&levels->level[0][i], &levels->level[1][i], law->link);
    planish_link(&levels->power[0][i], &levels->power[1][i], law->link);
  }
}

/* planish_knee() */
PLANISH_INLINED PlanishFour four_knees(PlanishFour over, double knee)
{
  const PlanishFour zero = planish_all(0.0);
  const PlanishFour into = over + planish_all(0.5 * knee);
  const PlanishFour bent = into * into / planish_all(2.0 * knee);
  return planish_four_choose(into <= zero, zero,
                             planish_four_choose(into < planish_all(knee), bent, over));
}

/* A side's value within its range; most levels lie on one side alone. */
PLANISH_INLINED PlanishFour four_bounded(PlanishFour value, double range)
{
  const PlanishFourMask any = value != planish_all(0.0);
  return planish_four_any(any)
             ? planish_four_choose(any, planish_four_soft_bound(value, range), value)
             : value;
}

/* planish_gain_curve_at(), and the floor of the lift. */
PLANISH_WIDE static void find_targets(const PlanishGainLaw *law, const double *level,
                                      const double *power, double *above, double *below,
                                      uint32_t frames)
{
  const PlanishGainCurve *curve = &law->curve;
  const PlanishFour threshold = planish_all(curve->threshold);
  const PlanishFour lower =
      planish_all(curve->threshold - planish_max(curve->dead_band, curve->knee));
  for (uint32_t i = 0; i < frames; i += PLANISH_LANES) {
    const PlanishFour now = planish_four_load(level + i);
    const PlanishFour over =
        planish_all(curve->slope_above) * four_knees(now - threshold, curve->knee);
    PlanishFour under = planish_all(curve->slope_below) * four_knees(lower - now, curve->knee);
    under = four_bounded(under, curve->range_below);
    const PlanishFour way = (planish_four_load(power + i) - planish_all(law->lift_floor)) /
                                planish_all(PLANISH_LIFT_FADE_DB) +
                            planish_all(1.0);
    const PlanishFour lift = under * planish_four_smoothstep(way);
    planish_four_store(above + i, four_bounded(over, curve->range_above));
    planish_four_store(below + i, planish_four_choose(under > planish_all(0.0), lift, under));
  }
}

/* Linked channels agree, and one of them is enough. */
static void aim(const PlanishGainLaw *law, const Levels *levels, uint32_t channels,
                Targets *targets, uint32_t frames)
{
  const size_t size = frames * sizeof(double);
  find_targets(law, levels->level[0], levels->power[0], targets->above[0], targets->below[0],
               frames);
  if (channels == 1) {
    memset(targets->above[1], 0, size);
    memset(targets->below[1], 0, size);
  } else if (memcmp(levels->level[0], levels->level[1], size) == 0 &&
             memcmp(levels->power[0], levels->power[1], size) == 0) {
    memcpy(targets->above[1], targets->above[0], size);
    memcpy(targets->below[1], targets->below[0], size);
  } else {
    find_targets(law, levels->level[1], levels->power[1], targets->above[1], targets->below[1],
                 frames);
  }
}

/* planish_gain_smoother_next() of both channels: above and below of one, then of the other. A
 * channel that is not there stays at 0. */
PLANISH_WIDE static void smooth(PlanishGainSmoother smoother[2], const PlanishGainTimes *times,
                                const Targets *targets, PlanishGainPair *gains, uint32_t frames)
{
  _Static_assert(sizeof(PlanishGainPair) == sizeof(PlanishFour), "a pair fills a register");
  const double attack = times->attack;
  const double release = times->release;
  const PlanishFour zero = planish_all(0.0);
  const PlanishFour outwards = {attack, release, attack, release};
  const PlanishFour back = {release, attack, release, attack};
  PlanishFour now;
  memcpy(&now, smoother, sizeof now);
  for (uint32_t i = 0; i < frames; ++i) {
    const PlanishFour target = {targets->above[0][i], targets->below[0][i], targets->above[1][i],
                                targets->below[1][i]};
    const PlanishFourMask falls = (now > zero) & (target < now) & (target >= zero);
    const PlanishFourMask rises = ~(now > zero) & (target > now) & (target <= zero);
    now += planish_four_choose(falls | rises, back, outwards) * (target - now);
    const PlanishFourMask ends =
        (target == zero) & (planish_four_magnitude(now) < planish_all(1e-9));
    now = planish_four_where(~ends, now);
    memcpy(gains + i, &now, sizeof now);
  }
  memcpy(smoother, &now, sizeof now);
}

void planish_dynamic_gain_process(PlanishDynamicGain *gain, const PlanishGainLaw *law,
                                  const PlanishGainTimes *times, const double *const band[2],
                                  const double *const whole[2], uint32_t channels,
                                  PlanishGainPair *gains, uint32_t frames)
{
  Levels levels;
  Targets targets;
  detect(gain, law, band, whole, channels, &levels, frames);
  for (uint32_t c = 0; c < channels; ++c) {
    for (uint32_t i = frames; i % PLANISH_LANES != 0; ++i) {
      levels.level[c][i] = 0.0;
      levels.power[c][i] = 0.0;
    }
  }
  aim(law, &levels, channels, &targets, frames);
  smooth(gain->smoother, times, &targets, gains, frames);
}
