/* A shelf, a peak or the whole band, whose gain moves on every frame.
 *
 * The filters are those of the Audio EQ Cookbook (R. Bristow-Johnson; see eq_prototype.h) through
 * the bilinear transform, with A = 10^(gain/40) of this very frame: of minimum phase, monotone at
 * Q <= 0.707, a cut undoes the boost of the same size, and at 0 dB the output is the input, bit for
 * bit. Adding (gain - 1) times a band-pass or a crossover's band instead bends the response: with a
 * fourth-order crossover by up to +0.8 dB where -0.75 dB are meant. The state-variable form is what
 * makes this safe (svf.h).
 *
 * Two lanes, each with a gain of its own. Thread: one at a time. Real-time safe. */
#ifndef PLANISH_DSP_DYNAMIC_BAND_H
#define PLANISH_DSP_DYNAMIC_BAND_H

#include "common/dsp/grid.h"
#include "common/dsp/side_chain.h"

typedef struct {
  PlanishSvf svf;
  PlanishBandType type;
  /* What the coefficients below were made of; they are made again when it changes. */
  PlanishTwo gain;
  double tangent;
  double q;
  PlanishTwo a1;
  PlanishTwo a2;
  PlanishTwo a3;
  PlanishTwo m0;
  PlanishTwo m1;
  PlanishTwo m2;
} PlanishDynamicBand;

/* A new filter that begins in the middle of a signal: `x` is taken for what the signal has stood
 * at, which spares it the jump from 0. From silence: 0. */
void planish_dynamic_band_start(PlanishDynamicBand *band, PlanishBandType type, PlanishTwo x);

/* `frames` frames, up to PLANISH_GRID, in place: gain[lane][frame] in dB, -24..24,
 * audio[lane][frame]; tangent of the frequency as in side_chain.h; q 0.05..50. */
void planish_dynamic_band_process(PlanishDynamicBand *band, const double *const gain[2],
                                  double tangent, double q, double *const audio[2],
                                  uint32_t frames);

#endif
