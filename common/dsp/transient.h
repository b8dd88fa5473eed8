/* Where an attack is, and where a decay: how far a level has risen against a moment ago, and how
 * far it has fallen, each as a share from 0 to 1.
 *
 * Two followers of the level in dB with one fall and two rises: the fast one is there within a
 * millisecond, the slow one takes `length`; what lies between them is an attack, and dies away as
 * the slow one arrives. A third rises as the fast one and falls later: what lies between these is a
 * decay. A way of `range` dB has nearly the full effect: share = tanh(1.5 way / range), after a
 * dead zone in which a level that only ripples stays.
 *
 * The level is the largest of the last 20 ms of a mean of the power over 2 ms. Held, a steady tone
 * from 25 Hz on is neither attack nor decay: without, each period of a bass note would be one. Of a
 * mean, so is noise, and the beating of many partials: single peaks stand out of white noise by
 * some 3 dB every few seconds, its power over 2 ms by less than one. In dB, and with the slow
 * followers never farther than CAP behind, the same sound gives the same shares at any level, after
 * any silence.
 *
 * Two channels are heard together, as the louder of them. Thread: one at a time. All but set-up are
 * real-time safe. */
#ifndef PLANISH_TRANSIENT_H
#define PLANISH_TRANSIENT_H

#include "common/dsp/grid.h"
#include "common/dsp/levels.h"
#include "common/dsp/sliding_max.h"

#define PLANISH_TRANSIENT_HOLD_MS 20.0

/* What the frames of a rate make of times; shared by any number of detectors. */
typedef struct {
  double fast;   /* share of the way that the fast rise goes in a frame */
  double slow;   /* of the slow rise */
  double fall;   /* of the fall of both */
  double linger; /* of the late fall */
} PlanishTransientTimes;

typedef struct {
  PlanishSlidingMax held[2];
  double mean[2];   /* power, short */
  double mean_step; /* share of the way that it goes in a frame */
  PlanishKnownLevel level;
  double fast;      /* rises fast */
  double slow;      /* rises slowly, falls as fast does */
  double lingering; /* rises as fast does, falls late */
  uint32_t hold;    /* frames */
} PlanishTransient;

void planish_transient_setup(PlanishTransient *transient, PlanishArena *arena, double rate);
/* A past of silence. */
void planish_transient_reset(PlanishTransient *transient);

/* `length` in ms, > 0: how long an attack lasts; a decay counts for six times as long beyond the
 * fall of an attack. */
PlanishTransientTimes planish_transient_times(double length, double rate);

/* Takes 1..PLANISH_GRID frames of 1 or 2 channels, x[channel][frame]; `range` in dB, > 0. Gives the
 * shares, 0..1: attack[frame] and decay[frame]; decay may be NULL. */
void planish_transient_process(PlanishTransient *transient, const PlanishTransientTimes *times,
                               double range, const double *const x[2], uint32_t channels,
                               double *attack, double *decay, uint32_t frames);

#endif
