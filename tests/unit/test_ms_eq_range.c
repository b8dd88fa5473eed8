/* Filters of moving bands by series, against the designs themselves. */
#include "plugins/ms-eq/eq_range.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { SETTINGS = 1000, PLACES = 6 };

/* Numerical Recipes' quick generator (W. H. Press et al.): the same settings everywhere. */
static double uniform(uint32_t *seed)
{
  *seed = *seed * 1664525U + 1013904223U;
  return *seed / 4294967296.0;
}

static double between(uint32_t *seed, double low, double high)
{
  return low + (high - low) * uniform(seed);
}

/* All that the ports allow. */
static PlanishEqRangeOf any_range(uint32_t *seed)
{
  static const PlanishEqType types[] = {PLANISH_EQ_PEAKING, PLANISH_EQ_LOW_SHELF,
                                        PLANISH_EQ_HIGH_SHELF, PLANISH_EQ_TILT};
  return (PlanishEqRangeOf){
      .setting = {types[(int)(4.0 * uniform(seed))], 2, 10.0 * pow(2000.0, uniform(seed)),
                  between(seed, -18.0, 18.0), 0.1 * pow(200.0, uniform(seed))},
      .move = uniform(seed) < 0.5 ? -6.0 * uniform(seed) - 0.01 : 6.0 * uniform(seed) + 0.01,
      .alone = uniform(seed) < 0.5,
  };
}

static void learn(PlanishEqRange *range, const PlanishEqRangeOf *of, const PlanishEqFit *fit)
{
  planish_eq_range_turn(range, of);
  for (int i = 0; i < PLANISH_EQ_RANGE_POINTS; ++i) {
    assert_false(planish_eq_range_is_known(range));
    planish_eq_range_learn(range, fit);
  }
}

typedef struct {
  PlanishEqSections sections;
  double taps[PLANISH_EQ_TAPS];
} Filter;

static Filter designed(const PlanishEqRangeOf *of, const PlanishEqFit *fit, double db)
{
  Filter filter;
  PlanishEqPrototype prototype;
  PlanishEqSetting setting = of->setting;
  setting.gain += db;
  planish_eq_range_prototype(of->alone, &setting, of->setting.gain, fit->rate, &prototype);
  planish_eq_sections(&prototype, &filter.sections);
  planish_eq_correction(fit, &prototype, filter.taps);
  return filter;
}

static Filter looked_up(const PlanishEqRange *range, double db)
{
  Filter filter;
  planish_eq_range_sections(range, db, &filter.sections);
  planish_eq_range_taps(range, db, filter.taps);
  return filter;
}

/* The largest error in dB, from 20 Hz to 20 kHz. */
static double error_of(const Filter *a, const Filter *b, double rate)
{
  double largest = 0.0;
  const double pi = acos(-1.0);
  for (int i = 0; i < 40; ++i) {
    const double hz = fmin(20.0 * pow(1000.0, i / 39.0), 0.49 * rate);
    const double w = 2.0 * pi * hz / rate;
    const double error = fabs(10.0 * log10(planish_eq_power(&a->sections, a->taps, w) /
                                           planish_eq_power(&b->sections, b->taps, w)));
    largest = error <= largest ? largest : error; /* NaN too */
  }
  return largest;
}

/* Goals: 1e-8 dB, which is 1e-9 of the sound; one in twenty of all that the ports allow unknown. */
static void series_are_the_designs(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 48000.0, 96000.0, 192000.0};
  static PlanishEqRange range;
  for (size_t r = 0; r < sizeof rates / sizeof *rates; ++r) {
    PlanishEqFit fit;
    planish_eq_fit_setup(&fit, rates[r]);
    uint32_t seed = 3;
    unsigned unknown = 0;
    double terms = 0.0;
    double worst = 0.0;
    for (int i = 0; i < SETTINGS; ++i) {
      const PlanishEqRangeOf of = any_range(&seed);
      learn(&range, &of, &fit);
      unknown += !planish_eq_range_is_known(&range);
      terms += range.terms;
      for (int p = 0; p <= PLACES && planish_eq_range_is_known(&range); ++p) {
        const double db = p < PLACES ? of.move * uniform(&seed) : of.move;
        const Filter exact = designed(&of, &fit, db);
        const Filter found = looked_up(&range, db);
        assert_int_equal(found.sections.count, exact.sections.count);
        worst = fmax(worst, error_of(&found, &exact, rates[r]));
      }
    }
    printf("%6.0f Hz: %.1f terms, error %.1e dB (goal 1e-8); %u of %d unknown\n", rates[r],
           terms / (SETTINGS - unknown), worst, unknown, (int)SETTINGS);
    assert_true(worst <= 1e-8);
    assert_true(unknown <= SETTINGS / 20);
  }
}

/* Whatever changes, nothing is known any more. */
static void another_range_is_learnt_anew(void **state)
{
  (void)state;
  static PlanishEqRange range;
  PlanishEqFit fit;
  planish_eq_fit_setup(&fit, 48000.0);
  const PlanishEqRangeOf of = {{PLANISH_EQ_PEAKING, 2, 1000.0, 2.0, 1.0}, 3.0, false};
  PlanishEqRangeOf others[6] = {of, of, of, of, of, of};
  others[0].setting.type = PLANISH_EQ_LOW_SHELF;
  others[1].setting.frequency = 1001.0;
  others[2].setting.gain = 2.1;
  others[3].setting.q = 1.1;
  others[4].move = -3.0;
  others[5].alone = true;
  for (int i = 0; i < 6; ++i) {
    learn(&range, &of, &fit);
    planish_eq_range_turn(&range, &of);
    assert_true(planish_eq_range_is_known(&range));
    planish_eq_range_turn(&range, &others[i]);
    assert_false(planish_eq_range_is_known(&range));
    learn(&range, &others[i], &fit);
    const Filter exact = designed(&others[i], &fit, 0.5 * others[i].move);
    const Filter found = looked_up(&range, 0.5 * others[i].move);
    assert_true(error_of(&found, &exact, 48000.0) <= 1e-8);
  }
  planish_eq_range_forget(&range);
  assert_false(planish_eq_range_is_known(&range));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(series_are_the_designs),
      cmocka_unit_test(another_range_is_learnt_anew),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
