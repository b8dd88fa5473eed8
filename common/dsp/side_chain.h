/* The filters ahead of a level detector: a high pass of 12 dB an octave, and the part of the
 * spectrum that a band works on (what is under a low shelf, over a high shelf, around a peak).
 *
 * All types of band are mixes of one filter's outputs, so a change of type is a change of mix, with
 * nothing to be filled again.
 *
 * Two lanes, double. Thread: one at a time. Real-time safe. */
#ifndef PLANISH_DSP_SIDE_CHAIN_H
#define PLANISH_DSP_SIDE_CHAIN_H

#include "common/dsp/svf.h"

#include <stdint.h>

typedef enum {
  PLANISH_BAND_FULL,
  PLANISH_BAND_LOW_SHELF,
  PLANISH_BAND_HIGH_SHELF,
  PLANISH_BAND_PEAKING,
} PlanishBandType;

/* Shared by bands; all zero is not valid. */
typedef struct {
  PlanishSvfCoefs band;
  PlanishSvfSteps band_steps;
  PlanishSvfSteps pass_steps;
  double pass_share; /* of the high pass, 0 (off, bit-exact) to 1 */
} PlanishSideChainCoefs;

/* All zero is silence. */
typedef struct {
  PlanishSvf pass;
  PlanishSvf band;
} PlanishSideChain;

/* tan(pi f / rate) of a frequency in Hz, which is held at 49 % of the rate. */
double planish_side_chain_tangent(double frequency, double rate);

/* The band of a detector; tangent as above. The shelves' sides fall by 12 dB an octave from -3 dB
 * at the frequency, whatever q; the peak is 0 dB there. */
PlanishSvfCoefs planish_side_chain_band(PlanishBandType type, double tangent, double q);

/* Takes both filters; `high_pass` is the tangent of its corner (-3 dB). */
void planish_side_chain_set(PlanishSideChainCoefs *coefs, const PlanishSvfCoefs *band,
                            double high_pass, double pass_share);

/* `frames` frames, a lane from each of `in` to each of `out`, which may be the same. */
void planish_side_chain_process(PlanishSideChain *chain, const PlanishSideChainCoefs *coefs,
                                const double *const in[2], double *const out[2], uint32_t frames);

#endif
