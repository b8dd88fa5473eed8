/* The impulse response of a linear-phase low pass: a sinc under a Kaiser window (Kaiser 1974).
 *
 * Thread: any. Set-up only: it calls libm. */
#ifndef PLANISH_DSP_WINDOWED_SINC_H
#define PLANISH_DSP_WINDOWED_SINC_H

#include <stdint.h>

typedef struct {
  double half_length; /* frames; the response is 0 from there on */
  double cut;         /* where the gain is 1/2, as a share of half the rate */
  double attenuation; /* of the stop band, dB, > 50 */
} PlanishWindowedSinc;

/* The value at a time in frames from the centre. */
double planish_windowed_sinc_at(const PlanishWindowedSinc *sinc, double t);

/* Scales one phase of a filter (`taps` values, `stride` apart) to a sum. Returns the sum of its
 * magnitudes: how much larger than its largest input its output can be. */
double planish_scale_phase(double *phase, uint32_t taps, uint32_t stride, double wanted);

#endif
