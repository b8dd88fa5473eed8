/* To whole numbers of at most 24 bit with triangular dither of +-1 LSB, new for each channel and
 * sample (Lipshitz, Wannamaker, Vanderkooy, JAES 40, 1992: mean and variance of the error, LSB^2/4,
 * then do not depend on the signal).
 *
 * The error may be shaped (Gerzon, Craven, AES preprint 2822, 1989): it comes out as dither and
 * quantiser make it, white and of LSB^2/4, through 1 + shape[0] z^-1 + shape[1] z^-2 + ...
 *
 * Digital black stays black: in a stretch of at least PLANISH_DITHER_BLACK frames in which both
 * channels are exactly 0, the result is 0. To know a stretch, frames are held back until it has
 * ended or is long enough; finish() gives the rest.
 *
 * The same samples give the same result whatever the blocks; the generator (Vigna 2016,
 * xorshift64*) starts from a fixed seed.
 * Thread: one at a time an object. Real-time safe. */
#ifndef PLANISH_HARNESS_DITHER_H
#define PLANISH_HARNESS_DITHER_H

#include <stddef.h>
#include <stdint.h>

#define PLANISH_DITHER_BITS  24
#define PLANISH_DITHER_SCALE 8388608.0 /* 2^23: LSBs of 24 bit to full scale */
#define PLANISH_DITHER_BLACK 64        /* frames: under 2 ms, too short to be heard as a gap */
#define PLANISH_DITHER_ORDER 12        /* coefficients of a shape, at most */

/* How a word is made. */
typedef struct {
  unsigned bits;  /* 2 to PLANISH_DITHER_BITS */
  unsigned order; /* 0: the error stays white */
  double shape[PLANISH_DITHER_ORDER];
} PlanishDitherWord;

typedef struct {
  PlanishDitherWord word;
  double scale;                          /* LSBs to full scale */
  uint64_t state[2];                     /* of each channel's generator */
  double error[2][PLANISH_DITHER_ORDER]; /* LSB, the latest first */
  size_t held;                           /* frames of zeros held back */
  int black;                             /* in a stretch that is long enough */
  uint64_t clipped;                      /* samples beyond full scale, put at full scale */
} PlanishDither;

/* Words of 24 bit, white error. */
void planish_dither_reset(PlanishDither *dither, uint64_t seed);
void planish_dither_start(PlanishDither *dither, const PlanishDitherWord *word, uint64_t seed);

/* `frames` frames of two samples (finite, full scale +-1) become whole numbers of LSBs. Returns the
 * frames written to `out`, which must have room for `frames` + PLANISH_DITHER_BLACK. */
size_t planish_dither_process(PlanishDither *dither, const float *interleaved, size_t frames,
                              int32_t *out);
size_t planish_dither_process_double(PlanishDither *dither, const double *interleaved,
                                     size_t frames, int32_t *out);

/* Writes what is held back, up to PLANISH_DITHER_BLACK frames, as black. */
size_t planish_dither_finish(PlanishDither *dither, int32_t *out);

#endif
