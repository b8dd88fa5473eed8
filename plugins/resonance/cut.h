/* From how far a bin stands out to how far it is held back: threshold with a soft knee, slope,
 * largest cut, attack and release for each bin, and the faded edges of the range.
 *
 * Thread: one at a time. All but setup are real-time safe. */
#ifndef PLANISH_RESONANCE_CUT_H
#define PLANISH_RESONANCE_CUT_H

#include "common/dsp/arena.h"

#include <stdint.h>

typedef struct {
  double threshold;  /* dB */
  double per_db;     /* dB of cut a dB over the threshold */
  double most;       /* dB */
  double attack;     /* ms */
  double release;    /* ms */
  double range_low;  /* Hz */
  double range_high; /* Hz; the range is empty unless it is over range_low */
} ResonanceCutSettings;

typedef struct {
  float *held;   /* dB by bin, 0 or more, without the edges */
  float *octave; /* of each bin: log2 of its frequency in Hz, ... */
  float *inside; /* ... and how far it lies in the range, 0..1 */
  uint32_t laid; /* so many bins have theirs */
  uint32_t bins;
  double hop_ms;
  float threshold;
  float per_db;
  float most;
  float attack; /* shares of the way, a hop */
  float release;
  float low; /* where the edges lie, log2 Hz */
  float high;
  float deepest; /* log2 of the least gain that minimum phase may ask for */
  float before;  /* what stood a bin under the one under work */
} ResonanceCut;

void resonance_cut_setup(ResonanceCut *cut, PlanishArena *arena, double rate, uint32_t length);

void resonance_cut_reset(ResonanceCut *cut);

/* At the start of a hop. */
void resonance_cut_set(ResonanceCut *cut, const ResonanceCutSettings *settings);

/* dB by which bins from..to-1 stand out, and how far a cut may go, reach[0..to-from-1] -> log2 of
 * their gains, in place: exactly 0 where the cut is under 0.001 dB. */
void resonance_cut_process(ResonanceCut *cut, const float *restrict reach,
                           float *restrict excess_to_gain, uint32_t from, uint32_t to);

/* Once all gains are there, and in order from bin 0 on: narrow cuts deeper by what the smoothing of
 * minimum phase will take off their peaks, but none over the largest cut. log_gain is that of all
 * bins. */
void resonance_cut_deepen(ResonanceCut *cut, float *log_gain, uint32_t from, uint32_t to);

#endif
