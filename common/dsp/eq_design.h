/* Digital filters with the response of an analog equaliser band, up to 20 kHz at 44.1 kHz too.
 *
 * Two parts in series. (1) Sections: each root s of the prototype becomes e^s, poles and zeros
 * alike (impulse invariance, as in Vicanek 2016; for zeros known as the matched z-transform), each
 * polynomial scaled to be right at 0 Hz. What is then missing is the product of |(1 - e^-u) / u|^2,
 * u = jw - s, over the roots: smooth over the whole band, whatever frequency, gain and Q are.
 * (2) A correction, a short FIR filter: the logarithm of what is missing is interpolated at
 * Chebyshev's points by a polynomial in cos w, which is nearly the best in dB. Read as a cepstrum,
 * its coefficients give the taps of the minimum-phase filter by Oppenheim and Schafer's recursion,
 * so no roots have to be found, and there is nothing ill-conditioned in it.
 *
 * So the design is closed: about 3,000 operations a band, cheap enough for every grid interval
 * while a control moves. Cut is boost turned over, poles and zeros and the cepstrum with it.
 * Sections and taps are smooth in all controls, so both may be interpolated.
 *
 * Roots beyond half the rate (low rates alone) are held there and damped by what is left; the
 * correction takes the rest.
 *
 * Thread: any, but for set-up. Real-time safe, but for set-up. */
#ifndef PLANISH_DSP_EQ_DESIGN_H
#define PLANISH_DSP_EQ_DESIGN_H

#include "common/dsp/eq_prototype.h"
#include "common/dsp/svf.h"

/* Points of the interpolation. With 14 the largest error of a 6 dB peak at 44.1 kHz is 0.0015 dB,
 * that of an 8th order low-pass 0.02 dB (tests/unit/test_eq_design.c). */
#define PLANISH_EQ_POINTS 14

/* Taps of the correction. More change the errors above by under 0.001 dB. */
#define PLANISH_EQ_TAPS 16

/* Points to whole registers, as many as taps: what is over is 0 Hz, and counts for nothing. */
#define PLANISH_EQ_PLACES PLANISH_EQ_TAPS

/* What depends on the rate alone. */
typedef struct {
  double rate;
  double w[PLANISH_EQ_PLACES];          /* radians a frame */
  double half_sine2[PLANISH_EQ_PLACES]; /* sin(w/2)^2 */
  double sine2[PLANISH_EQ_PLACES];      /* sin(w)^2 */
  double zero_root[PLANISH_EQ_PLACES];  /* (w / (2 sin(w/2)))^2: what a root at 0 Hz lacks */
  /* From the log2 of a power at the points to the cepstrum times its index (but for index 0):
   * [point][index]. */
  double cepstrum[PLANISH_EQ_POINTS][PLANISH_EQ_PLACES];
} PlanishEqFit;

typedef struct {
  unsigned count;
  PlanishSvfCoefs section[PLANISH_EQ_MAX_SECTIONS];
} PlanishEqSections;

/* Rate 8000..768000 Hz. Uses libm. */
void planish_eq_fit_setup(PlanishEqFit *fit, double rate);

/* The sections alone. A neutral setting gives PLANISH_SVF_IDENTITY's mix exactly. */
void planish_eq_sections(const PlanishEqPrototype *prototype, PlanishEqSections *sections);

/* The taps of the correction of these sections, PLANISH_EQ_TAPS of them. A neutral setting gives 1
 * and zeros exactly. */
void planish_eq_correction(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                           double *taps);

/* Both at once, for less than both on their own. */
void planish_eq_design(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                       PlanishEqSections *sections, double *taps);

/* |H|^2 of sections and taps at w radians a frame, for displays and tests. */
double planish_eq_power(const PlanishEqSections *sections, const double *taps, double w);

#endif
