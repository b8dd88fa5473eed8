/* Whether distortion can be heard: its power against a mask, in bands of a quarter of a Bark.
 *
 * In the style of the noise-to-mask ratio of ITU-R BS.1387 (basic version), but not it, and not to
 * be called so: bands of 1/4 Bark (7 asinh(f / 650)) from 80 Hz to 18 kHz; spreading of 27 dB/Bark
 * downwards and 24 + 230 / f - 0.2 L upwards, L the band's level, added with exponent 0.4; the mask
 * lies 3 dB under that up to 12 Bark and 0.25 z dB above, z the Bark number. Outer and middle ear,
 * threshold in quiet, frames of 43 ms (Hann), half overlapped. A sine at full scale counts as 92 dB
 * SPL. Unlike there, the distortion is that of the waveform, not a difference of magnitudes, and
 * nothing masks over time beyond the frame. Formulas and constants are from memory.
 *
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_MASKING_H
#define PLANISH_HARNESS_MASKING_H

#include "harness/distortion/fit_plans.h"

#include <stdbool.h>

typedef struct PlanishMasking PlanishMasking;

typedef struct {
  double ratio; /* dB: 10 log10 of the mean over bands of noise over mask, the worse channel's */
  bool audible; /* over the mask in any band of either channel */
} PlanishMaskingFrame;

/* `plans` must outlive it. NULL without memory. */
PlanishMasking *planish_masking_new(const PlanishFitPlans *plans);
/* NULL is allowed. */
void planish_masking_free(PlanishMasking *masking);

/* PLANISH_FIT_MASK_FRAME units of what masks and of the distortion; mid + i side, judged in left
 * and right. */
PlanishMaskingFrame planish_masking_process(PlanishMasking *masking, const PlanishPair *masker,
                                            const PlanishPair *noise);

#endif
