/* What stands whichever note is played: a low quantile, over seconds, of how far a bin stands out.
 *
 * A resonance is there in every note, so that even its low quantile is high; a note that comes and
 * goes leaves the quantile near zero. It is followed by stochastic approximation (Robbins & Monro
 * 1951, from memory): a small step up or down for each hop, so long that the quantile balances.
 * Every bin starts below zero, guilty only when proven, and steps never shrink or grow but with
 * time: a quick start would cut into noise.
 *
 * Thread: one at a time. All but setup are real-time safe. */
#ifndef PLANISH_RESONANCE_STANDING_H
#define PLANISH_RESONANCE_STANDING_H

#include "common/dsp/arena.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct {
  float *excess; /* the quantile, dB by bin */
  uint32_t bins;
  double hop_seconds;
  double age; /* seconds that were learnt from, since reset */
  float up;   /* steps of this hop, dB; 0 in silence */
  float down;
} ResonanceStanding;

/* `hop_seconds` is the time of a hop. */
void resonance_standing_setup(ResonanceStanding *standing, PlanishArena *arena, uint32_t bins,
                              double hop_seconds);

void resonance_standing_reset(ResonanceStanding *standing);

/* At the start of a hop's steps: observation time in seconds; nothing is learnt in silence. */
void resonance_standing_begin(ResonanceStanding *standing, double seconds, bool silent);

/* Learns from the excess now of bins from..to-1, now[0..to-from-1], dB. */
void resonance_standing_learn(ResonanceStanding *standing, const float *now, uint32_t from,
                              uint32_t to);

#endif
