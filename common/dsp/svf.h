/* The trapezoidal state-variable filter: a second-order section whose coefficients may change on
 * every frame.
 *
 * Its two states are the integrators of the analog circuit, so they keep their meaning while the
 * coefficients move: it stays stable under any movement (Wishnick, DAFx-14), where a direct form
 * may burst. Integrator gain g = tan(pi f0 / rate), damping k = 1/Q:
 *
 *   H(s) = (high s^2 + band s + low) / (s^2 + k s + 1),  s = (z - 1) / (g (z + 1))
 *
 * Any biquad with its poles inside the unit circle can be written so; what the analog circuit
 * looks like does not matter. The polynomials of the biquad are best given by the sums below, which
 * can be computed without the cancellation that spoils 1 + a1 + a2 for low frequencies.
 *
 * Double precision, two lanes a filter. Thread: one at a time a filter. Real-time safe. */
#ifndef PLANISH_DSP_SVF_H
#define PLANISH_DSP_SVF_H

#include "common/dsp/biquad.h"
#include "common/dsp/two_lanes.h"

/* A polynomial p0 + p1 z^-1 + p2 z^-2. */
typedef struct {
  double sum;         /* p0 + p1 + p2: the value at 0 Hz */
  double alternating; /* p0 - p1 + p2: the value at half the rate */
  double edge;        /* p0 - p2 */
} PlanishSvfPolynomial;

typedef struct {
  double g;  /* > 0 */
  double k;  /* > 0 */
  double m0; /* mix of the input, */
  double m1; /* of the band-pass */
  double m2; /* and of the low-pass: y = m0 x + m1 band + m2 low */
} PlanishSvfCoefs;

/* Passes everything as it is, exactly. */
#define PLANISH_SVF_IDENTITY ((PlanishSvfCoefs){1.0, 2.0, 1.0, 0.0, 0.0})

/* The integrators. All zero is silence. */
typedef struct {
  PlanishTwo s1;
  PlanishTwo s2;
} PlanishSvf;

/* The filter numerator / denominator; the roots of `denominator` lie inside the unit circle.
 * Equal polynomials give m0 = 1, m1 = m2 = 0 exactly. */
PlanishSvfCoefs planish_svf_coefs(const PlanishSvfPolynomial *numerator,
                                  const PlanishSvfPolynomial *denominator);

/* The same filter as a biquad; the biquad is stable. */
PlanishSvfCoefs planish_svf_from_biquad(const PlanishBiquadCoefs *biquad);

/* |H|^2 at a frequency given by the sine of half its angle, w = 2 pi frequency / rate:
 * sin(w/2)^2, 0..1. */
double planish_svf_power(const PlanishSvfCoefs *coefs, double half_sine_squared);

/* What the recursion needs of g and k; one division. */
typedef struct {
  double a1;
  double a2;
  double a3;
} PlanishSvfSteps;

static inline PlanishSvfSteps planish_svf_steps(double g, double k)
{
  const double a1 = 1.0 / (1.0 + g * (g + k));
  const double a2 = g * a1;
  return (PlanishSvfSteps){a1, a2, g * a2};
}

/* The band-pass and low-pass of one frame; the high-pass is x - k band - low. */
typedef struct {
  PlanishTwo band;
  PlanishTwo low;
} PlanishSvfOutputs;

static inline PlanishSvfOutputs planish_svf_next(PlanishSvf *svf, PlanishSvfSteps steps,
                                                 PlanishTwo x)
{
  const PlanishTwo v = x - svf->s2;
  const PlanishTwo band = planish_both(steps.a1) * svf->s1 + planish_both(steps.a2) * v;
  const PlanishTwo low = svf->s2 + planish_both(steps.a2) * svf->s1 + planish_both(steps.a3) * v;
  svf->s1 = planish_both(2.0) * band - svf->s1;
  svf->s2 = planish_both(2.0) * low - svf->s2;
  return (PlanishSvfOutputs){band, low};
}

/* `frames` frames of `x` in place, with coefficients that stand still. */
void planish_svf_process(PlanishSvf *svf, const PlanishSvfCoefs *coefs, PlanishTwo *x,
                         unsigned frames);

/* Coefficients that stand still, for two frames at once, whose states come straight from those
 * before both: so a pair waits for the one before no longer than a frame would. */
typedef struct {
  PlanishTwo s1_of_s1;
  PlanishTwo s1_of_s2;
  PlanishTwo s1_of_x[2];
  PlanishTwo s2_of_s1;
  PlanishTwo s2_more; /* what is added to s2, of s2: exact for the lowest frequencies too */
  PlanishTwo s2_of_x[2];
  PlanishTwo y_of_s1[2];
  PlanishTwo y_of_s2[2];
  PlanishTwo y_of_own; /* of the frame's own input, */
  PlanishTwo y_of_x;   /* and of the first one's in the second */
} PlanishSvfPairs;

/* Of coefficients that stand still. */
void planish_svf_pairs_set(PlanishSvfPairs *pairs, const PlanishSvfCoefs *coefs);

/* `frames` frames from `in`, which may be `x`; `at` counts frames from wherever pairs begin. Where
 * a block ends in the middle of a pair, *waiting keeps its first input, and *svf stays as it was
 * before both: anything else may go on with *svf where `at` is even alone. So the same frames in
 * any blocks give the same bits. As planish_svf_process() but for rounding. */
void planish_svf_process_pairs(PlanishSvf *svf, const PlanishSvfPairs *pairs, PlanishTwo *waiting,
                               unsigned at, const PlanishTwo *in, PlanishTwo *x, unsigned frames);

/* `frames` frames of `x` in place, with coefficients on the move: frame n uses *coefs plus n times
 * *change, and *coefs is left at the value for the frame after the last. g and k must stay > 0 on
 * the way. */
void planish_svf_process_moving(PlanishSvf *svf, PlanishSvfCoefs *coefs,
                                const PlanishSvfCoefs *change, PlanishTwo *x, unsigned frames);

enum { PLANISH_SVF_WAY = 8 };

/* What the recursion needs on each of PLANISH_SVF_WAY frames, in which coefficients go from one
 * filter to another in straight lines: worked out for all of them at once. */
typedef struct {
  double s1_of_s1[PLANISH_SVF_WAY];
  double of_both[PLANISH_SVF_WAY];
  double s2_of_v[PLANISH_SVF_WAY];
  double y_of_x[PLANISH_SVF_WAY];
  double y_of_s1[PLANISH_SVF_WAY];
  double y_of_v[PLANISH_SVF_WAY];
  double y_of_s2[PLANISH_SVF_WAY];
} PlanishSvfWay;

/* Frame n stands n / PLANISH_SVF_WAY of the way after `from`; g and k of both > 0. */
void planish_svf_way_set(PlanishSvfWay *way, const PlanishSvfCoefs *from,
                         const PlanishSvfCoefs *to);

/* `frames` frames from `in`, which may be `x`, the first of them `at` frames after the way's
 * beginning; at + frames <= PLANISH_SVF_WAY. As planish_svf_process_moving() but for rounding. */
void planish_svf_process_way(PlanishSvf *svf, const PlanishSvfWay *way, unsigned at,
                             const PlanishTwo *in, PlanishTwo *x, unsigned frames);

#endif
