/* FIR filters that read a signal between its frames, good up to close to half the rate.
 *
 * Weighted least squares on the error against the ideal delay, over all frequencies (Laakso,
 * Valimaki, Karjalainen, Laine, "Splitting the unit delay", IEEE Signal Processing Magazine 1996):
 * up to some frequency errors weigh so many times as much as above. A windowed sinc gives away what
 * lies near half the rate for accuracy that nobody needs elsewhere.
 *
 * Thread: any. For set-up: O(taps^2). */
#ifndef PLANISH_DSP_FRACTIONAL_DELAY_H
#define PLANISH_DSP_FRACTIONAL_DELAY_H

#include <stdint.h>

enum { PLANISH_FRACTIONAL_DELAY_MAX_TAPS = 512 };

typedef struct {
  double below; /* share of the rate, under 0.5 */
  double times; /* >= 1 */
} PlanishDelayWeight;

/* A hair over 20 kHz at 44.1 kHz. */
#define PLANISH_DELAY_WEIGHT_20_KHZ (1.0 / 2.2)

/* Fills h[0..taps-1], so that sum of h[k] x[n + k] is the signal `fraction` (0..1, excluding both)
 * after x[n + taps/2 - 1], with gain 1 at 0 Hz. `taps` even, 2..512. */
void planish_fractional_delay_design(double *h, uint32_t taps, double fraction,
                                     PlanishDelayWeight weight);

#endif
