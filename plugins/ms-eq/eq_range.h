/* A band's filter over the range of its movement, known ahead: while everything but the movement
 * stands, coefficients and taps are smooth functions of one number, so that each is a short series
 * of Chebyshev polynomials of it, and a design a sum of a few terms.
 *
 * The points that the series goes through are designed one at a time, by whoever needs designs at
 * that time; as long as some are missing the range is not known. What is left out of a series is
 * under 1e-11 of g and k, of the damping in the mix of the outputs, and of 1 in the taps
 * (tests/unit/test_ms_eq_range.c); where no series of this length does that, as with very broad
 * bands close to half the rate, the range stays unknown.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_MS_EQ_EQ_RANGE_H
#define PLANISH_MS_EQ_EQ_RANGE_H

#include "common/dsp/eq_design.h"

#include <stdbool.h>
#include <stdint.h>

enum {
  PLANISH_EQ_RANGE_POINTS = 12,
  PLANISH_EQ_RANGE_SECTIONS = 2, /* of what moves, at most */
  PLANISH_EQ_RANGE_VALUES = 28,  /* taps, then sections; to whole registers */
};

/* What it is the range of. */
typedef struct {
  PlanishEqSetting setting; /* that stands */
  double move;              /* from there, dB, to either side; not 0 */
  bool alone;               /* the movement alone, over the band at its own gain */
} PlanishEqRangeOf;

/* All zero: not known. */
typedef struct {
  PlanishEqRangeOf of;
  unsigned designed; /* points */
  unsigned terms;    /* that matter; 0: not known */
  unsigned sections;
  double term[PLANISH_EQ_RANGE_POINTS][PLANISH_EQ_RANGE_VALUES];
} PlanishEqRange;

/* The band at the setting, or `alone`: over the same band at the gain `standing`. */
void planish_eq_range_prototype(bool alone, const PlanishEqSetting *setting, double standing,
                                double rate, PlanishEqPrototype *prototype);

static inline bool planish_eq_range_is_known(const PlanishEqRange *range)
{
  return range->terms != 0;
}

void planish_eq_range_forget(PlanishEqRange *range);

/* Of anything else than before, nothing is known. */
void planish_eq_range_turn(PlanishEqRange *range, const PlanishEqRangeOf *of);

/* Another point, as long as there are some: one design of sections and correction. */
void planish_eq_range_learn(PlanishEqRange *range, const PlanishEqFit *fit);

/* Of a known range, moved by `db`, between 0 and `move`. Fills PLANISH_EQ_TAPS. */
void planish_eq_range_taps(const PlanishEqRange *range, double db, double *taps);
void planish_eq_range_sections(const PlanishEqRange *range, double db, PlanishEqSections *sections);

#endif
