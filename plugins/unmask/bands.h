/* The bands of the ear, as far as one ear-width tells them apart: triangles one ERB apart that
 * overlap and sum to 1, from 40 Hz to 16 kHz, and how much each of them masks the others.
 *
 * ERB number 21.4 log10(1 + 0.00437 f), width 24.7 (1 + 0.00437 f) (Glasberg & Moore 1990). Masking
 * falls by 27 dB a Bark downwards and 10 dB a Bark upwards, whatever the level, since the stage
 * must not depend on how loud somebody listens; Bark = 7 asinh(f / 650) (the scale of ITU-R
 * BS.1387; slopes from memory).
 *
 * Made at set-up, by libm; read only afterwards. */
#ifndef PLANISH_UNMASK_BANDS_H
#define PLANISH_UNMASK_BANDS_H

#include "common/dsp/arena.h"

#include <stdint.h>

enum { UNMASK_BANDS = 39 };

typedef struct {
  uint32_t count;                           /* fewer at rates under 36 kHz */
  double frequency[UNMASK_BANDS];           /* of the middle, Hz */
  double octave[UNMASK_BANDS];              /* its log2 */
  double width[UNMASK_BANDS];               /* ERB, Hz */
  double weight[UNMASK_BANDS];              /* of its power in loudness (K-weighting) */
  double even[UNMASK_BANDS];                /* power of a band of pink noise, arbitrary scale */
  double masks[UNMASK_BANDS][UNMASK_BANDS]; /* [of][by]: share of the power of `by` that lies over
                                               `of`; 0 by itself */
  /* Bins first[i]..first[i + 1] - 1 lie between the middles of bands i and i + 1, and ... */
  uint32_t first[UNMASK_BANDS];
  float *share; /* ... so far on their way from the one to the other, 0..1 */
} UnmaskBands;

/* For bins 0..length/2 - 1 of frames of `length`; those beyond the outermost bands count to them.
 */
void unmask_bands_setup(UnmaskBands *bands, PlanishArena *arena, double rate, uint32_t length);

#endif
