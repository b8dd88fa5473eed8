#include "plugins/ms-eq/eq_range.h"

#include "common/dsp/four_lanes.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <string.h>

#define LEFT_OUT 1e-11

enum {
  POINTS = PLANISH_EQ_RANGE_POINTS,
  VALUES = PLANISH_EQ_RANGE_VALUES,
  TAPS = PLANISH_EQ_TAPS,
  OF_SECTION = 5,
  /* The last terms tell what those would be that there are none of. */
  MOST_TERMS = POINTS - 2,
};

_Static_assert(sizeof(PlanishSvfCoefs) == OF_SECTION * sizeof(double), "five numbers");
_Static_assert((int)TAPS + OF_SECTION * (int)PLANISH_EQ_RANGE_SECTIONS <= (int)VALUES, "room");
_Static_assert((int)VALUES % (int)PLANISH_LANES == 0 && (int)TAPS % (int)PLANISH_LANES == 0,
               "whole registers");

void planish_eq_range_prototype(bool alone, const PlanishEqSetting *setting, double standing,
                                double rate, PlanishEqPrototype *prototype)
{
  if (alone) {
    planish_eq_prototype_over(setting, standing, rate, prototype);
  } else {
    planish_eq_prototype(setting, rate, prototype);
  }
}

void planish_eq_range_forget(PlanishEqRange *range)
{
  range->designed = 0;
  range->terms = 0;
}

void planish_eq_range_turn(PlanishEqRange *range, const PlanishEqRangeOf *of)
{
  const PlanishEqRangeOf *was = &range->of;
  const bool same = was->setting.type == of->setting.type &&
                    was->setting.frequency == of->setting.frequency &&
                    was->setting.gain == of->setting.gain && was->setting.q == of->setting.q &&
                    was->move == of->move && was->alone == of->alone;
  if (!same) {
    range->of = *of;
    planish_eq_range_forget(range);
  }
}

static void design(const PlanishEqRangeOf *of, const PlanishEqFit *fit, double db,
                   PlanishEqSections *sections, double *taps)
{
  PlanishEqPrototype prototype;
  PlanishEqSetting setting = of->setting;
  setting.gain += db;
  planish_eq_range_prototype(of->alone, &setting, of->setting.gain, fit->rate, &prototype);
  planish_eq_design(fit, &prototype, sections, taps);
}

/* What a coefficient or a tap is measured by. */
static double scale_of(const PlanishEqRange *range, unsigned value)
{
  if (value < TAPS) {
    return 1.0;
  }
  const unsigned place = (value - TAPS) % OF_SECTION;
  const double *first = range->term[0] + value - place;
  return place == 0 ? first[0] : (place == 2 ? 1.0 : first[1]);
}

static unsigned terms_of(const PlanishEqRange *range, unsigned value)
{
  const double most = LEFT_OUT * scale_of(range, value);
  unsigned terms = POINTS;
  double rest = 0.0;
  while (terms > 1 && (rest += fabs(range->term[terms - 1][value])) < most) {
    --terms;
  }
  return terms;
}

static void conclude(PlanishEqRange *range)
{
  unsigned terms = 1;
  for (unsigned value = 0; value < TAPS + OF_SECTION * range->sections; ++value) {
    const unsigned needed = terms_of(range, value);
    terms = needed > terms ? needed : terms;
  }
  range->terms = terms <= MOST_TERMS ? terms : 0;
}

/* Chebyshev's polynomials of x and the values at their own points: term j is 2 / POINTS times the
 * sum of T_j(x) value(x) over the points x, half of that for j = 0. */
static void add_point(PlanishEqRange *range, double x, const double *values)
{
  double now = 1.0;
  double next = x;
  for (int j = 0; j < POINTS; ++j) {
    const double weight = now * ((j == 0 ? 1.0 : 2.0) / POINTS);
    for (int v = 0; v < VALUES; ++v) {
      range->term[j][v] += weight * values[v];
    }
    const double after = 2.0 * x * next - now;
    now = next;
    next = after;
  }
}

void planish_eq_range_learn(PlanishEqRange *range, const PlanishEqFit *fit)
{
  if (range->designed == POINTS) {
    return;
  }
  if (range->designed == 0) {
    memset(range->term, 0, sizeof range->term);
  }
  const double x = planish_sine_cosine((range->designed + 0.5) * (PLANISH_PI / POINTS)).cosine;
  double values[VALUES] = {0};
  PlanishEqSections sections;
  design(&range->of, fit, range->of.move * (0.5 + 0.5 * x), &sections, values);
  memcpy(values + TAPS, sections.section, sections.count * sizeof *sections.section);
  range->sections = sections.count;
  add_point(range, x, values);
  if (++range->designed == POINTS) {
    conclude(range);
  }
}

/* Some registers of values, from `first` on. */
PLANISH_INLINED void sum_up(const PlanishEqRange *range, double db, unsigned first,
                            unsigned registers, double *values)
{
  const double x = 2.0 * db / range->of.move - 1.0;
  const double twice = 2.0 * x;
  double now = 1.0;
  double next = x;
  PlanishFour sum[4];
  for (unsigned r = 0; r < registers; ++r) {
    sum[r] = planish_all(0.0);
  }
  for (unsigned j = 0; j < range->terms; ++j) {
    const double *term = range->term[j] + first;
    for (unsigned r = 0; r < registers; ++r) {
      sum[r] += planish_all(now) * planish_four_load(term + (size_t)r * PLANISH_LANES);
    }
    const double after = twice * next - now;
    now = next;
    next = after;
  }
  for (unsigned r = 0; r < registers; ++r) {
    planish_four_store(values + (size_t)r * PLANISH_LANES, sum[r]);
  }
}

PLANISH_WIDE void planish_eq_range_taps(const PlanishEqRange *range, double db, double *taps)
{
  sum_up(range, db, 0, TAPS / PLANISH_LANES, taps);
}

PLANISH_WIDE void planish_eq_range_sections(const PlanishEqRange *range, double db,
                                            PlanishEqSections *sections)
{
  double values[VALUES - TAPS];
  if (range->sections == 1) {
    sum_up(range, db, TAPS, 2, values);
  } else {
    sum_up(range, db, TAPS, 3, values);
  }
  sections->count = range->sections;
  memcpy(sections->section, values, range->sections * sizeof *sections->section);
}
