/* The K-weighting of ITU-R BS.1770-4 Annex 1: a high shelf, then a high pass.
 *
 * The standard gives coefficients at 48 kHz alone (Tables 1, 2). At other rates both filters are
 * derived again by the bilinear transform from the analog prototypes behind the tables. The level
 * of the high pass is carried over too, so that the response, and with it the loudness of the same
 * programme, is that of 48 kHz at every rate. (With b = 1, -2, 1 left as it is at 48 kHz, as is
 * often done, readings differ by +0.004 LU at 44.1 kHz and by -0.032 LU at 192 kHz.)
 *
 * Thread: one at a time. All functions are real-time safe. */
#ifndef PLANISH_DSP_K_WEIGHTING_H
#define PLANISH_DSP_K_WEIGHTING_H

#include "common/dsp/biquad.h"

/* Shared by all channels. */
typedef struct {
  PlanishBiquadCoefs shelf;
  PlanishBiquadCoefs high_pass;
} PlanishKWeightingCoefs;

/* History of one channel. All zero is silence. */
typedef struct {
  PlanishBiquad shelf;
  PlanishBiquad high_pass;
} PlanishKWeighting;

/* Rate in Hz, 8000 or more: below about 3.4 kHz the shelf would lie beyond half the rate. Uses
 * libm: for set-up. */
PlanishKWeightingCoefs planish_k_weighting_design(double rate);

/* |H|^2 of both filters at `turns` cycles a frame (frequency / rate). */
double planish_k_weighting_power(const PlanishKWeightingCoefs *coefs, double turns);

static inline void planish_k_weighting_reset(PlanishKWeighting *k)
{
  planish_biquad_reset(&k->shelf);
  planish_biquad_reset(&k->high_pass);
}

/* One sample of one channel. */
static inline double planish_k_weighting_process(PlanishKWeighting *k,
                                                 const PlanishKWeightingCoefs *coefs, double x)
{
  return planish_biquad_process(&k->high_pass, &coefs->high_pass,
                                planish_biquad_process(&k->shelf, &coefs->shelf, x));
}

#endif
