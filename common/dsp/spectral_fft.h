/* A complex transform that can be stopped and gone on with: sixteen short transforms and thirty-two
 * parts of two radix-4 passes, each about a fiftieth of the whole.
 *
 * One long transform in one go would make the block it falls into many times dearer than the mean.
 * Cut by decimation (Cooley & Tukey 1965), every piece works on memory that lies together, and the
 * whole costs hardly more than in one go:
 *
 *   time, in rows      row r holds every sixteenth sample from planish_spectral_fft_first(r) on:
 *                      sample first(r) + 16 n is element n of the row
 *   forward            forward_row for each row, then forward_part for each part, in order
 *   spectrum           bins 0..length-1 in natural order
 *   backward           backward_part for each part, in order, then backward_row for each row:
 *                      decimation in frequency, the mirror image, so that both ways the samples
 *                      lie in rows and the bins in order
 *
 * Back and forth multiplies by the length. Two real signals go through at once as x + i y: any gain
 * with G[length-k] = conj G[k] is a real filter and keeps them apart.
 *
 * Relative error about 2e-7 rms. Buffers aligned to PLANISH_ALIGNMENT. Thread: one at a time a
 * spectrum; the object itself is read alone. All but setup and release are real-time safe. */
#ifndef PLANISH_DSP_SPECTRAL_FFT_H
#define PLANISH_DSP_SPECTRAL_FFT_H

#include "common/dsp/arena.h"
#include "common/dsp/spectral_complex.h"
#include "common/dsp/spectral_plan.h"
#include "common/dsp/status.h"

#include <stdint.h>

enum {
  PLANISH_FFT_ROWS = 16,
  PLANISH_FFT_PARTS = 32, /* the first half the one pass, the second half the other */
  PLANISH_FFT_SHORTEST = 256,
};

/* What a row and a part cost, forward and backward (the first half of the parts with gains, complex
 * or real), in units of one another: measured in an engine of 4096 points. */
enum {
  PLANISH_FFT_ROW_COST = 12,
  PLANISH_FFT_FORWARD_COST = 3,
  PLANISH_FFT_GAINS_COST = 6,
  PLANISH_FFT_REAL_GAINS_COST = 4,
  PLANISH_FFT_BACKWARD_COST = 3,
};

typedef struct {
  uint32_t length;
  uint32_t row;                /* samples in a row: length / 16 */
  PlanishSpectralPlan plan;    /* of a row */
  PlanishComplex *inner_turns; /* w, w^2, w^3 of the pass over quarters: [3][row] */
  PlanishComplex *outer_turns; /* of the pass over the whole: [3][length / 4] */
} PlanishSpectralFft;

/* `length` is a power of two from PLANISH_FFT_SHORTEST on. PLANISH_NO_MEMORY where there is no
 * plan. */
PlanishStatus planish_spectral_fft_setup(PlanishSpectralFft *fft, PlanishArena *arena,
                                         uint32_t length);

/* The first sample of a row: 0..15. */
static inline uint32_t planish_spectral_fft_first(uint32_t row)
{
  return row / 4 + row % 4 * 4;
}

/* `samples` (a row) into its place of `spectrum` (the whole length). */
void planish_spectral_fft_forward_row(const PlanishSpectralFft *fft, const PlanishComplex *samples,
                                      PlanishComplex *spectrum, uint32_t row);

void planish_spectral_fft_forward_part(const PlanishSpectralFft *fft, PlanishComplex *spectrum,
                                       uint32_t part);

/* With `gains` (whole length, or NULL) multiplied in on the way. */
void planish_spectral_fft_backward_part(const PlanishSpectralFft *fft, PlanishComplex *spectrum,
                                        const PlanishComplex *gains, uint32_t part);

/* Part 0..15 with real gains of bins 0..length/2, each for its bin and the mirror image. */
void planish_spectral_fft_backward_real(const PlanishSpectralFft *fft, PlanishComplex *spectrum,
                                        const float *gains, uint32_t part);

void planish_spectral_fft_backward_row(const PlanishSpectralFft *fft,
                                       const PlanishComplex *spectrum, PlanishComplex *samples,
                                       uint32_t row);

/* Fine on zeros, and twice. */
void planish_spectral_fft_release(PlanishSpectralFft *fft);

#endif
