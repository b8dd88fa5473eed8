#include "common/dsp/eq_design.h"

#include "common/dsp/lanes_maths.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <string.h>

/* The points end at this frequency, or at 3/4 of half the rate where that is higher (an interval
 * much shorter than the circle makes the polynomial swing outside), but stay under 95 %. */
#define TOP_HZ 20000.0

static double top_of(double rate)
{
  const double top = 2.0 * PLANISH_PI * TOP_HZ / rate;
  return planish_min(planish_max(top, 0.75 * PLANISH_PI), 0.95 * PLANISH_PI);
}

/* Inverts the matrix by Gauss and Jordan with row exchange; `matrix` is used up. */
static void invert(double matrix[PLANISH_EQ_POINTS][PLANISH_EQ_POINTS],
                   double inverse[PLANISH_EQ_POINTS][PLANISH_EQ_POINTS])
{
  enum { N = PLANISH_EQ_POINTS };
  for (int i = 0; i < N; ++i) {
    for (int j = 0; j < N; ++j) {
      inverse[i][j] = i == j ? 1.0 : 0.0;
    }
  }
  for (int c = 0; c < N; ++c) {
    int pivot = c;
    for (int i = c + 1; i < N; ++i) {
      pivot = fabs(matrix[i][c]) > fabs(matrix[pivot][c]) ? i : pivot;
    }
    const double scale = 1.0 / matrix[pivot][c];
    for (int j = 0; j < N; ++j) {
      const double m = matrix[pivot][j] * scale;
      const double v = inverse[pivot][j] * scale;
      matrix[pivot][j] = matrix[c][j];
      inverse[pivot][j] = inverse[c][j];
      matrix[c][j] = m;
      inverse[c][j] = v;
    }
    for (int i = 0; i < N; ++i) {
      const double factor = i == c ? 0.0 : matrix[i][c];
      for (int j = 0; j < N; ++j) {
        matrix[i][j] -= factor * matrix[c][j];
        inverse[i][j] -= factor * inverse[c][j];
      }
    }
  }
}

void planish_eq_fit_setup(PlanishEqFit *fit, double rate)
{
  enum { N = PLANISH_EQ_POINTS };
  double cosines[N][N];
  double inverse[N][N];
  const double end = cos(top_of(rate));
  fit->rate = rate;
  for (int i = 0; i < N; ++i) {
    /* Chebyshev's points between cos(top) and 1, stretched so that the outer ones lie on the ends:
     * then 0 Hz is exact. */
    const double node = cos((i + 0.5) * PLANISH_PI / N) / cos(0.5 * PLANISH_PI / N);
    const double x = planish_clamp(0.5 * (1.0 + end) + 0.5 * (1.0 - end) * node, -1.0, 1.0);
    const double w = acos(x);
    fit->w[i] = w;
    fit->half_sine2[i] = sin(0.5 * w) * sin(0.5 * w);
    fit->sine2[i] = sin(w) * sin(w);
    fit->zero_root[i] = w > 0.0 ? w * w / (4.0 * fit->half_sine2[i]) : 1.0;
    for (int k = 0; k < N; ++k) {
      cosines[k][i] = cos(k * w);
    }
  }
  invert(cosines, inverse);
  /* ln |C|^2 = 2 c0 + 2 sum ck cos kw, so half of the polynomial's coefficients. */
  for (int i = 0; i < N; ++i) {
    for (int k = 0; k < PLANISH_EQ_PLACES; ++k) {
      const double half = 0.5 * 0.693147180559945309417;
      fit->cepstrum[i][k] = k < N ? inverse[i][k] * (half * (k == 0 ? 1.0 : k)) : 0.0;
    }
  }
  for (int i = N; i < PLANISH_EQ_PLACES; ++i) {
    fit->w[i] = 0.0;
    fit->half_sine2[i] = 0.0;
    fit->sine2[i] = 0.0;
    fit->zero_root[i] = 1.0;
  }
}

static PlanishSvfPolynomial scaled(PlanishSvfPolynomial p, double factor)
{
  return (PlanishSvfPolynomial){p.sum * factor, p.alternating * factor, p.edge * factor};
}

static PlanishSvfPolynomial complex_pair(double decay, double angle)
{
  if (angle > PLANISH_PI) {
    decay += angle - PLANISH_PI;
    angle = PLANISH_PI;
  }
  const double r = planish_exp(-decay);
  const double distance2 = (1.0 - r) * (1.0 - r);
  const PlanishSineCosine half = planish_sine_cosine(0.5 * angle);
  return (PlanishSvfPolynomial){
      distance2 + 4.0 * r * half.sine * half.sine,
      distance2 + 4.0 * r * half.cosine * half.cosine,
      (1.0 - r) * (1.0 + r),
  };
}

static PlanishSvfPolynomial real_pair(double slow, double fast)
{
  const double r1 = planish_exp(-slow);
  const double r2 = planish_exp(-fast);
  return (PlanishSvfPolynomial){
      (1.0 - r1) * (1.0 - r2),
      (1.0 + r1) * (1.0 + r2),
      1.0 - r1 * r2,
  };
}

/* Roots s to e^s; right at 0 Hz. Roots at 0 become roots at 0 Hz with the right slope. */
static PlanishSvfPolynomial digital(const PlanishEqPolynomial *p)
{
  if (p->p0 == 0.0) {
    return p->p2 != 0.0 ? (PlanishSvfPolynomial){0.0, 4.0 * p->p2, 0.0}
                        : (PlanishSvfPolynomial){0.0, 2.0 * p->p1, p->p1};
  }
  PlanishSvfPolynomial result = {1.0, 1.0, 1.0};
  if (p->p2 != 0.0) {
    const double half = 0.5 * p->p1 / p->p2;
    const double square = p->p0 / p->p2;
    const double inner = square - half * half;
    if (inner >= 0.0) {
      result = complex_pair(half, sqrt(inner));
    } else {
      const double fast = half + sqrt(-inner);
      result = real_pair(square / fast, fast);
    }
  } else if (p->p1 != 0.0) {
    const double r = planish_exp(-p->p0 / p->p1);
    result = (PlanishSvfPolynomial){1.0 - r, 1.0 + r, 1.0};
  }
  return scaled(result, p->p0 / result.sum);
}

/* The polynomials of a prototype in z^-1. */
typedef struct {
  PlanishSvfPolynomial numerator[PLANISH_EQ_MAX_SECTIONS];
  PlanishSvfPolynomial denominator[PLANISH_EQ_MAX_SECTIONS];
} Digital;

static void take_digital(const PlanishEqPrototype *prototype, Digital *made)
{
  for (unsigned i = 0; i < prototype->count; ++i) {
    made->numerator[i] = digital(&prototype->section[i].numerator);
    made->denominator[i] = digital(&prototype->section[i].denominator);
  }
}

static void take_sections(const Digital *made, unsigned count, PlanishEqSections *sections)
{
  sections->count = count;
  for (unsigned i = 0; i < count; ++i) {
    sections->section[i] = planish_svf_coefs(&made->numerator[i], &made->denominator[i]);
  }
}

void planish_eq_sections(const PlanishEqPrototype *prototype, PlanishEqSections *sections)
{
  Digital made;
  take_digital(prototype, &made);
  take_sections(&made, prototype->count, sections);
}

/* What the digital polynomial lacks at each point: multiplies analog power into `above`, digital
 * into `below`. */
PLANISH_INLINED void lack(const PlanishEqFit *fit, const PlanishEqPolynomial *analog,
                          const PlanishSvfPolynomial *made, double *restrict above,
                          double *restrict below)
{
  if (analog->p0 == 0.0) {
    for (int i = 0; i < PLANISH_EQ_PLACES; ++i) {
      above[i] *= fit->zero_root[i] * (analog->p2 != 0.0 ? fit->zero_root[i] : 1.0);
    }
    return;
  }
  const PlanishEqPolynomial a = *analog;
  const PlanishSvfPolynomial p = *made;
  for (int i = 0; i < PLANISH_EQ_PLACES; ++i) {
    const double real = p.sum - fit->half_sine2[i] * (p.sum + p.alternating);
    above[i] *= planish_eq_polynomial_power(&a, fit->w[i]);
    below[i] *= real * real + p.edge * p.edge * fit->sine2[i];
  }
}

static const double reciprocal[PLANISH_EQ_TAPS] = {
    0.0,       1.0,       1.0 / 2.0,  1.0 / 3.0,  1.0 / 4.0,  1.0 / 5.0,  1.0 / 6.0,  1.0 / 7.0,
    1.0 / 8.0, 1.0 / 9.0, 1.0 / 10.0, 1.0 / 11.0, 1.0 / 12.0, 1.0 / 13.0, 1.0 / 14.0, 1.0 / 15.0,
};

enum { FOURS = PLANISH_EQ_TAPS / PLANISH_LANES };

_Static_assert((int)PLANISH_EQ_TAPS % (int)PLANISH_LANES == 0, "whole registers");

/* n h[n] = sum over k of k c[k] h[n-k] (Oppenheim, Schafer: Discrete-Time Signal Processing); each
 * tap is handed on to all later ones as soon as it is known: to whole registers of them, of which
 * those that are known already no longer count. */
PLANISH_INLINED void take_taps_of(const double *cepstrum, double *taps)
{
  double shifted[2 * PLANISH_EQ_TAPS] = {0};
  double sums[PLANISH_EQ_TAPS] = {0};
  memcpy(shifted + PLANISH_EQ_TAPS, cepstrum, PLANISH_EQ_TAPS * sizeof *cepstrum);
  double tap = planish_exp(cepstrum[0]);
  for (int n = 0;;) {
    taps[n] = tap;
    const double *late = shifted + PLANISH_EQ_TAPS - n;
    if (++n == PLANISH_EQ_TAPS) {
      break;
    }
    for (int f = n / PLANISH_LANES; f < FOURS; ++f) {
      const int at = f * PLANISH_LANES;
      planish_four_store(sums + at, planish_four_load(sums + at) +
                                        planish_four_load(late + at) * planish_all(tap));
    }
    tap = sums[n] * reciprocal[n];
  }
}

PLANISH_WIDE static void take_taps(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                                   const Digital *made, double *taps)
{
  double above[PLANISH_EQ_PLACES];
  double below[PLANISH_EQ_PLACES];
  for (int i = 0; i < PLANISH_EQ_PLACES; ++i) {
    above[i] = 1.0;
    below[i] = 1.0;
  }
  for (unsigned i = 0; i < prototype->count; ++i) {
    lack(fit, &prototype->section[i].numerator, &made->numerator[i], above, below);
    lack(fit, &prototype->section[i].denominator, &made->denominator[i], below, above);
  }
  double missing[PLANISH_EQ_PLACES];
  for (int i = 0; i < PLANISH_EQ_PLACES; i += PLANISH_LANES) {
    planish_four_store(missing + i, planish_four_log2(planish_four_load(above + i) /
                                                      planish_four_load(below + i)));
  }
  PlanishFour sums[FOURS] = {{0.0}};
  for (int i = 0; i < PLANISH_EQ_POINTS; ++i) {
    for (size_t f = 0; f < FOURS; ++f) {
      sums[f] += planish_four_load(fit->cepstrum[i] + f * PLANISH_LANES) * planish_all(missing[i]);
    }
  }
  double cepstrum[PLANISH_EQ_TAPS];
  for (size_t f = 0; f < FOURS; ++f) {
    planish_four_store(cepstrum + f * PLANISH_LANES, sums[f]);
  }
  take_taps_of(cepstrum, taps);
}

void planish_eq_correction(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                           double *taps)
{
  Digital made;
  take_digital(prototype, &made);
  take_taps(fit, prototype, &made, taps);
}

void planish_eq_design(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                       PlanishEqSections *sections, double *taps)
{
  Digital made;
  take_digital(prototype, &made);
  take_sections(&made, prototype->count, sections);
  take_taps(fit, prototype, &made, taps);
}

double planish_eq_power(const PlanishEqSections *sections, const double *taps, double w)
{
  double real = 0.0;
  double imaginary = 0.0;
  for (int n = 0; n < PLANISH_EQ_TAPS; ++n) {
    const PlanishSineCosine turn = planish_sine_cosine(n * w);
    real += taps[n] * turn.cosine;
    imaginary -= taps[n] * turn.sine;
  }
  const double half = planish_sine_cosine(0.5 * w).sine;
  double power = real * real + imaginary * imaginary;
  for (unsigned i = 0; i < sections->count; ++i) {
    power *= planish_svf_power(&sections->section[i], half * half);
  }
  return power;
}
