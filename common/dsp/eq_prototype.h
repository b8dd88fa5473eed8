/* The analog filters that an equaliser band stands for: what "a peak of 3 dB at 2 kHz with a Q of
 * 1" means, as sections of polynomials in s.
 *
 * Peak and shelves are those of the Audio EQ Cookbook (R. Bristow-Johnson), s relative to the
 * band's frequency, A = 10^(gain/40):
 *   peaking     (s^2 + s A/Q + 1) / (s^2 + s/(A Q) + 1)
 *   low shelf   A (s^2 + s sqrt(A)/Q + A) / (A s^2 + s sqrt(A)/Q + 1)
 *   high shelf  the same with 1/s for s
 * A cut is a boost turned over, exactly. The passes are Butterworth filters of 6 dB an octave and
 * order; Q scales the resonance of their sharpest pair of poles, so that order 2 has just this Q,
 * and every order is maximally flat at Q = sqrt(1/2). Order 1 has no Q. The tilt is of first order,
 *   tilt        (1 + A s) / (A + s)
 * lifting the top by half of the gain and lowering the bottom by the other half; no Q.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_EQ_PROTOTYPE_H
#define PLANISH_DSP_EQ_PROTOTYPE_H

#include <stdbool.h>

#define PLANISH_EQ_MAX_ORDER    8
#define PLANISH_EQ_MAX_SECTIONS (PLANISH_EQ_MAX_ORDER / 2)

typedef enum {
  PLANISH_EQ_PEAKING,
  PLANISH_EQ_LOW_SHELF,
  PLANISH_EQ_HIGH_SHELF,
  PLANISH_EQ_HIGH_PASS,
  PLANISH_EQ_LOW_PASS,
  PLANISH_EQ_TILT,
} PlanishEqType;

typedef struct {
  PlanishEqType type;
  unsigned order;   /* 1..PLANISH_EQ_MAX_ORDER; of the passes alone */
  double frequency; /* Hz, > 0 */
  double gain;      /* dB, -40..40; not of the passes */
  double q;         /* 0.05..50; not of the tilt */
} PlanishEqSetting;

/* p0 + p1 s + p2 s^2. */
typedef struct {
  double p0;
  double p1;
  double p2;
} PlanishEqPolynomial;

typedef struct {
  PlanishEqPolynomial numerator;
  PlanishEqPolynomial denominator;
} PlanishEqSection;

typedef struct {
  unsigned count; /* constant for a type and order */
  PlanishEqSection section[PLANISH_EQ_MAX_SECTIONS];
} PlanishEqPrototype;

/* With s in radians a frame: s = j 2 pi f / rate on the frequency axis. */
void planish_eq_prototype(const PlanishEqSetting *setting, double rate,
                          PlanishEqPrototype *prototype);

/* The band at its gain over the same band with a gain of `standing` dB: what a movement of the gain
 * adds to a band that stands. Of the types with a gain; two sections, which are 1 where both gains
 * are the same. */
void planish_eq_prototype_over(const PlanishEqSetting *setting, double standing, double rate,
                               PlanishEqPrototype *prototype);

/* True if the setting passes everything as it is: 0 dB where there is a gain. */
bool planish_eq_is_neutral(const PlanishEqSetting *setting);

/* |H|^2 at w radians a frame. */
double planish_eq_prototype_power(const PlanishEqPrototype *prototype, double w);

/* |p|^2 at w. */
static inline double planish_eq_polynomial_power(const PlanishEqPolynomial *p, double w)
{
  const double real = p->p0 - p->p2 * w * w;
  const double imaginary = p->p1 * w;
  return real * real + imaginary * imaginary;
}

#endif
