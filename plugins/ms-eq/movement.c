#include "plugins/ms-eq/movement.h"

#include "common/dsp/level_detector.h"
#include "plugins/ms-eq/eq_region.h"

#include <string.h>

/* Those of the dynamics stage by default: 2:1, and a knee over which the work sets in. */
#define SLOPE   0.5
#define KNEE_DB 6.0

/* Half a period of the lowest tone that is to be held steady: 20 Hz under a low shelf and in a
 * tilt, else two octaves below the band, and at least what 40 Hz need, since chords beat. */
#define LONGEST_HOLD  25.0
#define SHORTEST_HOLD 12.5
#define HOLD_HZ       2000.0

static double hold_of(PlanishEqType type, double frequency)
{
  const bool reaches_down = type == PLANISH_EQ_LOW_SHELF || type == PLANISH_EQ_TILT;
  return reaches_down ? LONGEST_HOLD
                      : planish_clamp(HOLD_HZ / frequency, SHORTEST_HOLD, LONGEST_HOLD);
}

void planish_eq_movement_setup(PlanishEqMovement *movement, PlanishArena *arena, double rate)
{
  *movement = (PlanishEqMovement){.rate = rate};
  const uint32_t longest = planish_hold_frames(LONGEST_HOLD, rate);
  planish_held_envelope_setup(&movement->envelope[0], arena, longest);
  planish_held_envelope_setup(&movement->envelope[1], arena, longest);
  planish_crossfade_setup(&movement->entry, rate, PLANISH_GLIDE_MS);
}

PlanishGainTimes planish_eq_movement_times(double attack, double release, double rate)
{
  return planish_gain_times(attack, release, rate / PLANISH_EQ_STEP);
}

/* Designed afresh only where it is another one. */
static void take_region(PlanishEqMovement *movement, PlanishEqType type,
                        const PlanishEqSetting *setting)
{
  const PlanishEqSetting *known = &movement->region_of;
  if (type != known->type || setting->frequency != known->frequency || setting->q != known->q) {
    movement->next = planish_eq_region(type, setting, movement->rate);
    movement->region_of = *setting;
    movement->region_of.type = type;
  }
}

static void begin(PlanishEqMovement *movement, PlanishEqType type, const PlanishEqSetting *setting,
                  bool from_silence)
{
  take_region(movement, type, setting);
  movement->coefs = movement->next;
  movement->gliding = false;
  movement->paired = false;
  memset(&movement->region, 0, sizeof movement->region);
  planish_crossfade_jump(&movement->entry, from_silence);
  planish_crossfade_turn(&movement->entry, true);
  planish_held_envelope_reset(&movement->envelope[0]);
  planish_held_envelope_reset(&movement->envelope[1]);
  movement->power = 0.0;
  movement->hold_target = planish_hold_frames(hold_of(type, setting->frequency), movement->rate);
  movement->hold = movement->hold_target;
}

void planish_eq_movement_start(PlanishEqMovement *movement, PlanishEqType type,
                               const PlanishEqSetting *setting, bool from_silence)
{
  begin(movement, type, setting, from_silence);
  movement->share = (PlanishGainSmoother){0};
  movement->db = 0.0;
}

void planish_eq_movement_turn(PlanishEqMovement *movement, PlanishEqType type,
                              const PlanishEqSetting *setting)
{
  begin(movement, type, setting, false);
}

void planish_eq_movement_grid(PlanishEqMovement *movement, PlanishEqType type,
                              const PlanishEqSetting *end)
{
  const double share = 1.0 / PLANISH_GRID;
  const PlanishSvfCoefs *from = &movement->coefs;
  movement->coefs = movement->next;
  movement->paired = movement->paired && !movement->gliding;
  take_region(movement, type, end);
  const PlanishSvfCoefs to = movement->next;
  movement->gliding = to.g != from->g || to.k != from->k;
  movement->change = (PlanishSvfCoefs){
      (to.g - from->g) * share,   (to.k - from->k) * share,   (to.m0 - from->m0) * share,
      (to.m1 - from->m1) * share, (to.m2 - from->m2) * share,
  };
  movement->hold_target = planish_hold_frames(hold_of(type, end->frequency), movement->rate);
}

/* By the curve alone; move is not 0. */
static double share_at(double power, double move, double threshold)
{
  const PlanishGainCurve curve = {
      .threshold = threshold,
      .slope_above = SLOPE,
      .knee = KNEE_DB,
      .range_above = fabs(move),
  };
  const double level = planish_max(planish_level_of_power(power), PLANISH_LEVEL_FLOOR_DB);
  return planish_gain_curve_at(&curve, level).above / curve.range_above;
}

/* The share of the move that the level asks for, 0..1. It does not fall while the level is still
 * being faded in, and stays while the move is on its way through 0 dB. */
static PlanishGainParts target_of(PlanishEqMovement *movement, double power, double move,
                                  double threshold)
{
  PlanishEqKnownShare *known = &movement->known;
  if (move == 0.0) {
    return movement->share;
  }
  if (power != known->power || move != known->move || threshold != known->threshold) {
    *known = (PlanishEqKnownShare){power, move, threshold, share_at(power, move, threshold)};
  }
  const double least = planish_crossfade_is_moving(&movement->entry) ? movement->share.above : 0.0;
  return (PlanishGainParts){.above = planish_max(known->share, least)};
}

/* What is left of a way ends at 1e-9, so that a band under a tone comes to rest. */
static void advance(PlanishGainSmoother *share, const PlanishGainTimes *times,
                    PlanishGainParts target)
{
  planish_gain_smoother_next(share, times, target);
  if (fabs(target.above - share->above) < 1e-9) {
    share->above = target.above;
  }
}

double planish_eq_movement_step(PlanishEqMovement *movement, double power, double move,
                                double threshold)
{
  const PlanishGainParts target = target_of(movement, power, move, threshold);
  advance(&movement->share, &movement->times, target);
  movement->db = move * movement->share.above;
  return movement->db;
}

double planish_eq_movement_ahead(PlanishEqMovement *movement, double move, double threshold)
{
  const PlanishGainParts target = target_of(movement, movement->power, move, threshold);
  PlanishGainSmoother share = movement->share;
  for (int step = 0; step < PLANISH_EQ_STEPS; ++step) {
    advance(&share, &movement->times, target);
  }
  return move * share.above;
}

/* What goes into the region: in `x`, or the input itself. */
static const PlanishTwo *enter(PlanishEqMovement *movement, PlanishEqChannels channels,
                               const PlanishTwo *input, PlanishTwo *x, uint32_t frames)
{
  if (!planish_eq_movement_enters(movement)) {
    return planish_eq_parts_in(channels, input, x, frames);
  }
  planish_eq_parts_of(channels, input, x, frames);
  for (uint32_t n = 0; n < frames; ++n) {
    x[n] *= planish_both(planish_crossfade_next(&movement->entry));
  }
  return x;
}

static void filter(PlanishEqMovement *movement, const PlanishTwo *in, PlanishTwo *x, uint32_t at,
                   uint32_t frames)
{
  if (movement->gliding) {
    memmove(x, in, frames * sizeof *x);
    planish_svf_process_moving(&movement->region, &movement->coefs, &movement->change, x, frames);
    return;
  }
  if (!movement->paired) {
    planish_svf_pairs_set(&movement->pairs, &movement->coefs);
    movement->paired = true;
  }
  planish_svf_process_pairs(&movement->region, &movement->pairs, &movement->waiting, at, in, x,
                            frames);
}

/* Raises `power` to that of a lane. */
static void add_power(PlanishEqMovement *movement, int lane, const PlanishTwo *x, double *power,
                      uint32_t frames)
{
  double one[PLANISH_GRID];
  double held[PLANISH_GRID];
  for (uint32_t n = 0; n < frames; ++n) {
    one[n] = x[n][lane];
  }
  planish_held_envelope_process(&movement->envelope[lane], one, held, frames, movement->hold);
  for (uint32_t n = 0; n < frames; ++n) {
    power[n] = planish_max(power[n], held[n]);
  }
}

void planish_eq_movement_listen(PlanishEqMovement *movement, PlanishEqChannels channels,
                                const PlanishTwo *input, double *power, uint32_t at,
                                uint32_t frames)
{
  const int first = channels == PLANISH_EQ_RIGHT ? 1 : 0;
  const int last = channels == PLANISH_EQ_RIGHT || channels == PLANISH_EQ_STEREO ? 1 : 0;
  PlanishTwo x[PLANISH_GRID];
  filter(movement, enter(movement, channels, input, x, frames), x, at, frames);
  memset(power, 0, frames * sizeof *power);
  for (uint32_t n = 0; n < frames;) {
    movement->hold = planish_hold_towards(movement->hold, movement->hold_target);
    const uint32_t alike = movement->hold == movement->hold_target ? frames - n : 1;
    for (int c = first; c <= last; ++c) {
      add_power(movement, c, x + n, power + n, alike);
    }
    n += alike;
  }
  movement->power = power[frames - 1];
}
