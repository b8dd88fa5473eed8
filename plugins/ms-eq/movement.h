/* What moves the gain of a band: the level of the band's own region (eq_region.h) in the band's own
 * channels, through the peak detector, the curve, the bound and the times of the dynamics stage
 * (held_envelope.h, gain_curve.h, gain_smoother.h).
 *
 * Above the threshold the gain heads for the move, half a dB for each dB of level, with a knee of
 * 6 dB, by r tanh(v / r) with r = |move|, which it never passes. What has attack and release is the
 * share of the move, so that a new move is glided to like any gain, through 0 dB too. Of two
 * channels the louder counts.
 *
 * The detector takes every frame. Curve and smoother run once every PLANISH_EQ_STEP frames, with
 * time constants for steps of that length: what they give is where the gain stands at the end of
 * the step if the level stays, so the gain runs in straight lines, without lag on a level that
 * stands and at most a step late on one that does not.
 *
 * All functions but setup are real-time safe. */
#ifndef PLANISH_MS_EQ_MOVEMENT_H
#define PLANISH_MS_EQ_MOVEMENT_H

#include "common/dsp/crossfade.h"
#include "common/dsp/gain_smoother.h"
#include "common/dsp/held_envelope.h"
#include "plugins/ms-eq/eq_voice.h"

/* What the curve has said last, and of what: held levels stand still most of the time. */
typedef struct {
  double power;
  double move;
  double threshold;
  double share;
} PlanishEqKnownShare;

typedef struct {
  double db; /* at the end of the last step; -|move|..|move| */
  double rate;
  PlanishSvf region;
  PlanishSvfCoefs coefs;
  bool paired; /* `pairs` are those of `coefs`; while nothing glides */
  PlanishSvfPairs pairs;
  PlanishTwo waiting;
  PlanishSvfCoefs next;       /* at the end of the grid interval */
  PlanishEqSetting region_of; /* what `next` was designed for; zeros: nothing */
  PlanishSvfCoefs change;     /* a frame */
  bool gliding;
  PlanishCrossfade entry; /* of the signal into the region */
  PlanishHeldEnvelope envelope[2];
  double power;  /* of the louder lane, at the last frame */
  uint32_t hold; /* frames, on its way to `hold_target` by one a frame */
  uint32_t hold_target;
  PlanishEqKnownShare known;
  PlanishGainSmoother share; /* of the move, 0..1 */
  PlanishGainTimes times;    /* for steps; see planish_eq_movement_times() */
} PlanishEqMovement;

void planish_eq_movement_setup(PlanishEqMovement *movement, PlanishArena *arena, double rate);

/* Of attack and release in ms. */
PlanishGainTimes planish_eq_movement_times(double attack, double release, double rate);

/* No movement, and a past of silence. From silence, or in the middle of a signal, which is then
 * faded in (a low filter would overshoot). */
void planish_eq_movement_start(PlanishEqMovement *movement, PlanishEqType type,
                               const PlanishEqSetting *setting, bool from_silence);

/* Listens to another region; the movement goes on from where it is. */
void planish_eq_movement_turn(PlanishEqMovement *movement, PlanishEqType type,
                              const PlanishEqSetting *setting);

/* At a grid frame: `end` is the setting at the end of the interval. */
void planish_eq_movement_grid(PlanishEqMovement *movement, PlanishEqType type,
                              const PlanishEqSetting *end);

/* The movement in dB at the end of the step that begins here, of the power at the frame before it.
 * The others in dB, at that end. */
double planish_eq_movement_step(PlanishEqMovement *movement, double power, double move,
                                double threshold);

/* What the steps of a grid interval will end with if the level stays. */
double planish_eq_movement_ahead(PlanishEqMovement *movement, double move, double threshold);

/* Takes `frames` of (left, right), and gives the power at each. `at` is the place of the first one
 * in the grid interval, at + frames <= PLANISH_GRID. */
void planish_eq_movement_listen(PlanishEqMovement *movement, PlanishEqChannels channels,
                                const PlanishTwo *input, double *power, uint32_t at,
                                uint32_t frames);

/* Whether the signal is still being faded in: then a step must know of no frame that comes after
 * it. */
static inline bool planish_eq_movement_enters(const PlanishEqMovement *movement)
{
  return planish_crossfade_is_moving(&movement->entry);
}

#endif
