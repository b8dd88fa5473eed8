/* What stands of the equaliser: all bands and the fold of the low end as the ports have them, but
 * without their movement; and its gain at every frequency, for linear phase.
 *
 * Without phase every band is a real gain g at each frequency, on a part of the signal, and all of
 * it one real matrix: the product of the bands' matrices in the order of the bands, the fold last.
 * Bands on stereo, mid and side change places without a trace, and so do bands on stereo, left and
 * right; only where one of mid or side meets one of left or right does the order matter, and there
 * it is kept.
 *
 * The matrix is held as two complex numbers, the form the convolver works in
 * (partitioned_convolver.h): z = left + i right becomes P z + Q z*. Of a band on one part
 *   P = (g + 1) / 2,   Q = u (g - 1) / 2,   u = i mid, -i side, 1 left, -1 right
 * and of one on both P = g, Q = 0.
 *
 * Thread: one at a time. All functions are real-time safe. */
#ifndef PLANISH_MS_EQ_STANDING_H
#define PLANISH_MS_EQ_STANDING_H

#include "common/dsp/eq_prototype.h"
#include "common/dsp/spectral_complex.h"
#include "plugins/ms-eq/eq_voice.h"

#include <stdbool.h>
#include <stdint.h>

enum {
  PLANISH_STANDING_BANDS = 8,
  PLANISH_STANDING_PART = 256, /* frequencies that gains() is asked for at most */
};

typedef struct {
  bool on;
  PlanishEqChannels channels;
  PlanishEqSetting setting;
} PlanishStandingBand;

typedef struct {
  PlanishStandingBand band[PLANISH_STANDING_BANDS];
  bool mono;
  double mono_below;  /* Hz */
  double mono_amount; /* 0..1 */
} PlanishStanding;

/* True: the same gains, as far as anyone can tell from the settings. */
bool planish_standing_is_same(const PlanishStanding *a, const PlanishStanding *b);

/* True: all gains are 1. */
bool planish_standing_is_neutral(const PlanishStanding *standing);

/* How many sections of filters the gains are made of: what gains() costs goes with it. */
uint32_t planish_standing_sections(const PlanishStanding *standing, double rate);

/* P less 1, and Q, at `count` frequencies (from + k + 1/2) * step, step in radians a frame. */
void planish_standing_gains(const PlanishStanding *standing, double rate, double step,
                            uint32_t from, uint32_t count, PlanishComplex *p, PlanishComplex *q);

#endif
