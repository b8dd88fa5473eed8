/* Loudness of a programme as it runs: ITU-R BS.1770-5 Annex 1, EBU Tech 3341 (momentary,
 * short-term, integrated), EBU Tech 3342 (loudness range).
 *
 * Time goes in steps of 10 ms. Momentary (0.4 s) and short-term (3 s) loudness and their maxima are
 * known anew after each step, once that much has passed since reset. Every 100 ms the integrated
 * loudness takes a 0.4 s block, and loudness range a 3 s block. (Tech 3342 lets 3 s blocks overlap
 * by 2 s or more. A block a second, as some meters take, makes the range of a short piece depend on
 * the moment it starts: by up to 1 LU.)
 *
 * What is lost when both channels are summed to mono is read over the very blocks that the gates of
 * the integrated loudness let pass, so that what vanishes in mono counts, too.
 *
 * Integrated loudness, range and maxima speak of what is counted: all since reset, or since
 * restart, but for pauses. Only windows that lie whole within it count. Momentary and short-term
 * loudness run on through pauses and restarts.
 *
 * Left and right weigh 1.0 each. One channel alone reads 3.01 LU under the same signal in both;
 * for dual mono give it twice.
 *
 * Loudness is in LUFS, -HUGE_VAL where there is none yet, or only silence.
 *
 * Thread: one at a time. All but set-up are real-time safe; integrated and range cost some hundred
 * operations a call. */
#ifndef PLANISH_DSP_LOUDNESS_H
#define PLANISH_DSP_LOUDNESS_H

#include "common/dsp/arena.h"
#include "common/dsp/k_weighting.h"
#include "common/dsp/loudness_histogram.h"
#include "common/dsp/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PLANISH_LOUDNESS_STEPS_PER_S     100
#define PLANISH_LOUDNESS_MOMENTARY_STEPS 40
#define PLANISH_LOUDNESS_SHORTTERM_STEPS 300
#define PLANISH_LOUDNESS_MIN_RATE        8000.0
#define PLANISH_LOUDNESS_MAX_RATE        384000.0

/* The largest value so far. */
typedef struct {
  double power;
  uint64_t step; /* the window ends with this many steps passed */
} PlanishLoudnessMaximum;

typedef struct {
  PlanishKWeightingCoefs coefs;
  PlanishKWeighting k[2];
  double rate;
  uint32_t channels;

  uint64_t frame; /* passed since reset */
  uint64_t steps; /* passed since reset */
  uint64_t step_end;
  uint64_t step_start;
  double sum;      /* of squares in the step under way */
  double mono_sum; /* the same of the mono fold-down in both channels */

  bool paused;
  uint64_t since;   /* what is counted without a break began when so many steps had passed */
  uint64_t counted; /* steps in all that is counted */

  double *powers;      /* mean square of the last steps, a ring */
  double *mono_powers; /* of the fold-down, a ring */
  double momentary;
  double shortterm;
  PlanishLoudnessMaximum momentary_max;
  PlanishLoudnessMaximum shortterm_max;
  PlanishLoudnessHistogram blocks;     /* of 0.4 s */
  PlanishLoudnessHistogram shortterms; /* blocks of 3 s */
} PlanishLoudness;

/* 1 or 2 channels. PLANISH_BAD_RATE outside of PLANISH_LOUDNESS_MIN_RATE..MAX_RATE. */
PlanishStatus planish_loudness_setup(PlanishLoudness *loudness, PlanishArena *arena, double rate,
                                     uint32_t channels);

void planish_loudness_reset(PlanishLoudness *loudness);

/* Counts no more, or again. At the border of steps at which it stands, or the next. */
void planish_loudness_pause(PlanishLoudness *loudness, bool paused);

/* Forgets all that was counted, and counts anew (once a pause ends): but for what is counted,
 * nothing changes. Constant time. */
void planish_loudness_restart(PlanishLoudness *loudness);

/* The frame, counted from reset, at which the first `steps` steps have passed. */
static inline uint64_t planish_loudness_step_end(double rate, uint64_t steps)
{
  return (uint64_t)((double)steps * rate / PLANISH_LOUDNESS_STEPS_PER_S + 0.5);
}

/* `audio` is one pointer a channel, finite samples, left as they are; the two may be the same. */
void planish_loudness_process(PlanishLoudness *loudness, const double *const *audio, size_t frames);

double planish_loudness_momentary(const PlanishLoudness *loudness);
double planish_loudness_shortterm(const PlanishLoudness *loudness);
double planish_loudness_momentary_max(const PlanishLoudness *loudness);
double planish_loudness_shortterm_max(const PlanishLoudness *loudness);
double planish_loudness_integrated(const PlanishLoudness *loudness);

/* In LU: integrated loudness less that of (L+R)/2 in both channels, over the same blocks. 0 for
 * mono, 3.01 for unrelated channels and for one alone, HUGE_VAL where all vanishes; NAN where there
 * is no integrated loudness. */
double planish_loudness_mono_loss(const PlanishLoudness *loudness);

/* In LU; NAN until a 3 s block over the gate has passed. */
double planish_loudness_range(const PlanishLoudness *loudness);

#endif
