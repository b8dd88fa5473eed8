/* Gives back the loudness that a gain has taken, and no more.
 *
 * The honest value is the ratio of K-weighted powers (k_weighting.h) before and after:
 * -10 lg(sum p g^2 / sum p). The plain mean of the reduction in dB errs, as loud moments are both
 * reduced more and heard more. Powers are gathered in slots of 0.1 s, those under -70 LUFS (the
 * absolute gate of ITU-R BS.1770-4) left out, and forgotten with a time constant of 10 s; what was
 * given too little or too much so far is paid back over the same time, by 0.2 dB at most, so that
 * the whole comes out even. A signal that nothing has changed gets exactly 0 dB. A frame counts
 * with at most +24 dB.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_MAKE_UP_H
#define PLANISH_DSP_MAKE_UP_H

#include "common/dsp/glide.h"
#include "common/dsp/k_weighting.h"

#include <stdint.h>

/* It takes about this long to stand. */
#define PLANISH_MAKE_UP_SECONDS 10.0

typedef struct {
  PlanishKWeightingCoefs coefs;
  PlanishKWeighting before[2];
  PlanishKWeighting after[2];
  double slot_before; /* sums of the slot that is being filled */
  double slot_after;
  double slot_given; /* of what left, make-up included */
  double sum_before; /* of slots, forgetting */
  double sum_after;
  double weight;     /* of the slots in them */
  double owed;       /* sum of what went in and has not come out */
  double keep;       /* share of the sums that a slot leaves */
  PlanishGlide gain; /* dB */
  uint32_t frame;    /* of the slot */
  uint32_t slot_frames;
} PlanishMakeUp;

/* Rate 8000 or more. */
void planish_make_up_setup(PlanishMakeUp *make_up, PlanishArena *arena, double rate);
void planish_make_up_reset(PlanishMakeUp *make_up);

/* Looks at `frames` frames, up to PLANISH_GRID and never across a grid frame (`channels` 1 or 2),
 * and fills gain[] with dB for them. */
void planish_make_up_process(PlanishMakeUp *make_up, double *const *before, double *const *after,
                             uint32_t channels, uint32_t frames, double *gain);

#endif
