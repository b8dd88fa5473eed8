/* Convolution of two channels with a matrix of long filters, in even pieces: uniformly partitioned
 * overlap-save (Kulp 1988, from memory). For filters that stand, or that are designed anew now and
 * then; what changes with every hop is the spectral engine's.
 *
 * The filters are cut into partitions of `block` taps. A block of input is transformed once, its
 * products with all partitions are summed as it ages, and one transform leads back. Both channels
 * go as one complex signal z = x0 + i x1. With h[to][from] the filters between channels, which are
 * real, what comes out is
 *
 *   y = P z + Q z*,   P = (h00 + h11) / 2 + i (h10 - h01) / 2,
 *                     Q = (h00 - h11) / 2 + i (h10 + h01) / 2
 *
 * with z* the conjugate: two complex filters do for all four, and a matrix costs what a filter for
 * each channel costs. The work is spread over the next block of frames (schedule.h), so that the
 * latency is two blocks, besides what lies in the filters.
 *
 * New filters: write the taps, run the load tasks in a schedule of your own, call exchange(). From
 * the next block on the new filters fade in over one block, by a raised cosine, which in the
 * spectrum is a sum of three neighbours and costs no further transform. silence() fades to filters
 * of zeros, which give zeros exactly and cost the transform of the input alone.
 *
 * Error about -135 dB re the output. Buffers from the arena. Thread: one at a time. All but setup
 * and release are real-time safe. */
#ifndef PLANISH_DSP_PARTITIONED_CONVOLVER_H
#define PLANISH_DSP_PARTITIONED_CONVOLVER_H

#include "common/dsp/arena.h"
#include "common/dsp/schedule.h"
#include "common/dsp/spectral_complex.h"
#include "common/dsp/spectral_fft.h"
#include "common/dsp/status.h"

#include <stdbool.h>
#include <stdint.h>

enum {
  PLANISH_CONVOLVER_SHORTEST = PLANISH_FFT_SHORTEST / 2, /* block */
  PLANISH_CONVOLVER_BLOCK = 32,                          /* frames a process() gets at most */
  PLANISH_CONVOLVER_LOAD_TASKS = 2,
};

typedef struct {
  PlanishComplex *taps[2]; /* P and Q, block * partitions each; the user's to write */
  uint32_t block;
  uint32_t partitions;
  PlanishSpectralFft fft; /* of two blocks */
  PlanishSchedule schedule;
  PlanishComplex *input;    /* [3 segments][row][block / 16] */
  PlanishComplex *output;   /* [2 segments][row][block / 16] */
  PlanishComplex *past;     /* spectra of the last blocks: [slot][plain, mirrored][2 block] */
  PlanishComplex *filters;  /* [set][partition][P, Q][2 block] */
  PlanishComplex *sums;     /* [set][2 block] */
  PlanishComplex *spectrum; /* of the result */
  PlanishComplex *samples;  /* a row */
  uint32_t segment;         /* of the input that gathers */
  uint32_t out_segment;     /* of the output that is given out */
  uint32_t slot;            /* of the newest spectrum */
  uint32_t at;              /* frames of the block that are there */
  uint32_t set;             /* of the filters in force */
  bool sounding[2];         /* of each set: its filters are not all zeros */
  bool waiting;             /* the other set takes over with the next block */
  bool fading;              /* it does so in this one */
} PlanishConvolver;

/* `block` is a power of two from PLANISH_CONVOLVER_SHORTEST on; partitions > 0. PLANISH_NO_MEMORY
 * where there is no plan. */
PlanishStatus planish_convolver_setup(PlanishConvolver *convolver, PlanishArena *arena,
                                      uint32_t block, uint32_t partitions);

/* Frames between input and result of a filter whose first tap is 1 and all others 0. */
static inline uint32_t planish_convolver_latency(const PlanishConvolver *convolver)
{
  return 2 * convolver->block;
}

/* Forgets input and filters: silence comes out until the first exchange. */
void planish_convolver_reset(PlanishConvolver *convolver);

/* One tap of all four filters. */
typedef struct {
  float h[2][2]; /* [to][from] */
} PlanishConvolverTap;

static inline void planish_convolver_write(PlanishConvolver *convolver, uint32_t n,
                                           PlanishConvolverTap tap)
{
  convolver->taps[0][n] =
      (PlanishComplex){0.5F * (tap.h[0][0] + tap.h[1][1]), 0.5F * (tap.h[1][0] - tap.h[0][1])};
  convolver->taps[1][n] =
      (PlanishComplex){0.5F * (tap.h[0][0] - tap.h[1][1]), 0.5F * (tap.h[1][0] + tap.h[0][1])};
}

/* Writes PLANISH_CONVOLVER_LOAD_TASKS tasks, done in order, which turn `taps` into the set of
 * filters that is not in force. Costs are in the unit of PLANISH_FFT_ROW_COST. They may run only
 * while no exchange is waiting or fading. Returns their count. */
uint32_t planish_convolver_load_tasks(PlanishConvolver *convolver, PlanishTask *tasks);

/* Whether the load tasks may run. */
static inline bool planish_convolver_is_free(const PlanishConvolver *convolver)
{
  return !convolver->waiting && !convolver->fading;
}

/* The loaded filters take over with the next block. */
void planish_convolver_exchange(PlanishConvolver *convolver);

/* Filters of zeros do so, under the same conditions as loaded ones. */
void planish_convolver_silence(PlanishConvolver *convolver);

/* 1 or 2 channels, 1..PLANISH_CONVOLVER_BLOCK frames, replaced by the result. Returns the cost of
 * what has run. */
uint64_t planish_convolver_process(PlanishConvolver *convolver, double *const *audio,
                                   uint32_t channels, uint32_t frames);

/* Fine on zeros, and twice. */
void planish_convolver_release(PlanishConvolver *convolver);

#endif
