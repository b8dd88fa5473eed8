/* What stands whichever note is played: a low quantile, over seconds, of how far a bin stands out,
 * and the mean of the same.
 *
 * A resonance is there in every note, so that even its low quantile is high; a note that comes and
 * goes leaves the quantile near zero. The quantile is followed by stochastic approximation (Robbins
 * & Monro 1951, from memory): for each hop a step up or down, of sizes that balance there. A step
 * is up to three times as long where the quantile is far off, both ways alike (between a quantile
 * and an expectile: the M-quantiles of Breckling & Chambers 1988, from memory), which finds a
 * resonance in seconds with steps so small that noise never passes for one. Every bin starts below
 * zero, guilty only when proven.
 *
 * The mean bounds the cut: nothing is cut by more than it stands out.
 *
 * Thread: one at a time. All but setup are real-time safe. */
#ifndef PLANISH_RESONANCE_STANDING_H
#define PLANISH_RESONANCE_STANDING_H

#include "common/dsp/arena.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct {
  float *quantile; /* dB by bin */
  float *mean;     /* alike */
  uint32_t bins;
  double hop_seconds;
  float up; /* steps of this hop, dB; 0 in silence */
  float down;
  float mean_share; /* of the way to what is now; 0 in silence */
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

/* excess[0..to-from-1]: in, the excess now; out, what of it also stands all along, as far as
 * `protection` (0..1) goes. reach: how far a cut may go, dB, 0 or more. */
void resonance_standing_protect(const ResonanceStanding *standing, double protection, float *excess,
                                float *reach, uint32_t from, uint32_t to);

#endif
