/* The filter with a given magnitude that has its energy as early as can be: its phase follows from
 * the logarithm of its magnitude by way of the cepstrum, whose part before time zero is folded onto
 * the part after it (Oppenheim & Schafer, Discrete-Time Signal Processing, from memory).
 *
 * The cepstrum wraps around at the length: with tau = Q rate / (pi f0) frames of ringing a length
 * of 26 tau is exact to -78 dB, 52 tau to -140 dB; 32 tau is a good rule.
 *
 * Beyond that a gain with corners rings on and on, wraps around, and sounds ahead of an attack.
 * With a reach under a half the cepstrum fades out towards the reach (a share of the length), and
 * what sounds ahead vanishes. It fades by a window whose transform is nowhere negative: what comes
 * out is a weighted mean, over some 2 / reach bins, of the logarithm that was asked for, and so
 * nowhere louder or softer than the most and the least of that. (Any other fade rings: a cut some
 * bins wide comes out an eighth deeper than was asked.)
 *
 * The work is a list of tasks for a schedule. Both transforms are of real numbers and go as complex
 * ones of half the length. Where all of log_gain is 0 all of `added` is exactly 0.
 *
 * Thread: one at a time. All but setup and release are real-time safe. */
#ifndef PLANISH_DSP_MINIMUM_PHASE_H
#define PLANISH_DSP_MINIMUM_PHASE_H

#include "common/dsp/arena.h"
#include "common/dsp/schedule.h"
#include "common/dsp/spectral_complex.h"
#include "common/dsp/spectral_fft.h"
#include "common/dsp/status.h"

#include <stdint.h>

enum {
  PLANISH_MINIMUM_PHASE_TASKS = 7,
  PLANISH_MINIMUM_PHASE_SHORTEST = 2 * PLANISH_FFT_SHORTEST,
};

typedef struct {
  float *log_gain;       /* in: log2 of the magnitude, bins 0..length/2, |x| <= 120; written over */
  PlanishComplex *added; /* out: the gain less 1, bins 0..length/2; real at both ends */
  uint32_t length;
  PlanishSpectralFft fft; /* of half the length */
  PlanishComplex *spectrum;
  PlanishComplex *samples; /* a row */
  PlanishComplex *turns;   /* e^(2 pi i k / length), bins 0..length/2 */
  float *cepstrum;         /* folded, 0..length/2 */
  float *lifter;           /* factors of the same */
} PlanishMinimumPhase;

/* `length` is a power of two from PLANISH_MINIMUM_PHASE_SHORTEST on; reach > 0, 0.5 for all of the
 * cepstrum. PLANISH_NO_MEMORY where there is no plan. */
PlanishStatus planish_minimum_phase_setup(PlanishMinimumPhase *phase, PlanishArena *arena,
                                          uint32_t length, double reach);

/* Writes PLANISH_MINIMUM_PHASE_TASKS tasks, which turn log_gain into added, done in order. Their
 * costs are in the unit of an engine of the same length. Returns their count. */
uint32_t planish_minimum_phase_tasks(PlanishMinimumPhase *phase, PlanishTask *tasks);

/* Fine on zeros, and twice. */
void planish_minimum_phase_release(PlanishMinimumPhase *phase);

#endif
