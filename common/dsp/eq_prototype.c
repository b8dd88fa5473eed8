#include "common/dsp/eq_prototype.h"

#include "common/dsp/trig.h"

static PlanishEqSection peaking(double a, double q)
{
  return (PlanishEqSection){{1.0, a / q, 1.0}, {1.0, 1.0 / (a * q), 1.0}};
}

static PlanishEqSection low_shelf(double a, double q)
{
  const double damping = sqrt(a) / q;
  return (PlanishEqSection){{a * a, a * damping, a}, {1.0, damping, a}};
}

static PlanishEqSection high_shelf(double a, double q)
{
  const double root = sqrt(a);
  return (PlanishEqSection){{1.0, root / q, a}, {1.0, 1.0 / (root * q), 1.0 / a}};
}

static PlanishEqSection tilt(double a)
{
  return (PlanishEqSection){{1.0 / a, 1.0, 0.0}, {1.0, 1.0 / a, 0.0}};
}

/* Butterworth: poles evenly on the unit circle; pair i has the damping 2 sin((2i+1) pi / 2n), i = 0
 * the sharpest. The gentle sections come first, so that the sharpest sees the least level. */
static void pass(const PlanishEqSetting *setting, PlanishEqPrototype *prototype)
{
  const bool high = setting->type == PLANISH_EQ_HIGH_PASS;
  const unsigned order = setting->order;
  unsigned at = 0;
  if (order % 2 != 0) {
    const PlanishEqPolynomial numerator = {high ? 0.0 : 1.0, high ? 1.0 : 0.0, 0.0};
    prototype->section[at++] = (PlanishEqSection){numerator, {1.0, 1.0, 0.0}};
  }
  for (unsigned i = order / 2; i-- > 0;) {
    const double angle = (2.0 * i + 1.0) * PLANISH_PI / (2.0 * order);
    double damping = 2.0 * planish_sine_cosine(angle).sine;
    if (i == 0) {
      damping *= 0.70710678118654752440 / setting->q;
    }
    const PlanishEqPolynomial numerator = {high ? 0.0 : 1.0, 0.0, high ? 1.0 : 0.0};
    prototype->section[at++] = (PlanishEqSection){numerator, {1.0, damping, 1.0}};
  }
  prototype->count = at;
}

static void stretch(PlanishEqPolynomial *p, double period)
{
  p->p1 *= period;
  p->p2 *= period * period;
}

void planish_eq_prototype(const PlanishEqSetting *setting, double rate,
                          PlanishEqPrototype *prototype)
{
  const double a = planish_gain_of(0.5 * setting->gain);
  prototype->count = 1;
  switch (setting->type) {
  case PLANISH_EQ_PEAKING:
    prototype->section[0] = peaking(a, setting->q);
    break;
  case PLANISH_EQ_LOW_SHELF:
    prototype->section[0] = low_shelf(a, setting->q);
    break;
  case PLANISH_EQ_HIGH_SHELF:
    prototype->section[0] = high_shelf(a, setting->q);
    break;
  case PLANISH_EQ_TILT:
    prototype->section[0] = tilt(a);
    break;
  case PLANISH_EQ_HIGH_PASS:
  case PLANISH_EQ_LOW_PASS:
    pass(setting, prototype);
    break;
  }
  const double period = rate / (2.0 * PLANISH_PI * setting->frequency);
  for (unsigned i = 0; i < prototype->count; ++i) {
    stretch(&prototype->section[i].numerator, period);
    stretch(&prototype->section[i].denominator, period);
  }
}

void planish_eq_prototype_over(const PlanishEqSetting *setting, double standing, double rate,
                               PlanishEqPrototype *prototype)
{
  PlanishEqPrototype above;
  PlanishEqPrototype below;
  PlanishEqSetting still = *setting;
  still.gain = standing;
  planish_eq_prototype(setting, rate, &above);
  planish_eq_prototype(&still, rate, &below);
  /* Like with like, so that roots lie beside one another and each section does half of it. */
  prototype->count = 2;
  prototype->section[0] =
      (PlanishEqSection){above.section[0].numerator, below.section[0].numerator};
  prototype->section[1] =
      (PlanishEqSection){below.section[0].denominator, above.section[0].denominator};
}

bool planish_eq_is_neutral(const PlanishEqSetting *setting)
{
  const bool is_pass =
      setting->type == PLANISH_EQ_HIGH_PASS || setting->type == PLANISH_EQ_LOW_PASS;
  return !is_pass && setting->gain == 0.0;
}

double planish_eq_prototype_power(const PlanishEqPrototype *prototype, double w)
{
  double power = 1.0;
  for (unsigned i = 0; i < prototype->count; ++i) {
    power *= planish_eq_polynomial_power(&prototype->section[i].numerator, w) /
             planish_eq_polynomial_power(&prototype->section[i].denominator, w);
  }
  return power;
}
