/* The digital equaliser against its analog prototype. Goals are the project's own; the figures that
 * other designs reach are printed beside, and the bilinear one must fail. */
#include "common/dsp/eq_design.h"
#include "common/dsp/trig.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>

enum { SETTINGS = 400, LINES = 300 };

static const double rates[] = {44100.0, 48000.0, 96000.0, 192000.0};

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

static double octaves_between(uint32_t *seed, double low, double high)
{
  return low * pow(high / low, uniform(seed));
}

typedef struct {
  PlanishEqPrototype prototype;
  PlanishEqSections sections;
  double taps[PLANISH_EQ_TAPS];
} Design;

static Design design(const PlanishEqFit *fit, const PlanishEqSetting *setting)
{
  Design made;
  planish_eq_prototype(setting, fit->rate, &made.prototype);
  planish_eq_sections(&made.prototype, &made.sections);
  planish_eq_correction(fit, &made.prototype, made.taps);
  return made;
}

static double error_at(const Design *made, double w)
{
  return 10.0 * log10(planish_eq_power(&made->sections, made->taps, w) /
                      planish_eq_prototype_power(&made->prototype, w));
}

/* Largest error in dB from 20 Hz to 20 kHz where the prototype is above `floor_db`. */
static double largest_error(const PlanishEqFit *fit, const PlanishEqSetting *setting,
                            double floor_db)
{
  const Design made = design(fit, setting);
  double largest = 0.0;
  for (int i = 0; i < LINES; ++i) {
    const double w = 2.0 * PLANISH_PI * 20.0 * pow(1000.0, i / (LINES - 1.0)) / fit->rate;
    if (10.0 * log10(planish_eq_prototype_power(&made.prototype, w)) >= floor_db) {
      const double error = fabs(error_at(&made, w));
      largest = error <= largest ? largest : error; /* NaN too */
    }
  }
  return largest;
}

typedef struct {
  const char *name;
  PlanishEqSetting (*draw)(uint32_t *seed, int i);
  double floor_db;
  double goal_db;
} Family;

static PlanishEqSetting mild_peak(uint32_t *seed, int i)
{
  (void)i;
  return (PlanishEqSetting){PLANISH_EQ_PEAKING, 2, octaves_between(seed, 20.0, 18000.0),
                            between(seed, -6.0, 6.0), octaves_between(seed, 0.5, 2.0)};
}

static PlanishEqSetting strong_peak(uint32_t *seed, int i)
{
  (void)i;
  return (PlanishEqSetting){PLANISH_EQ_PEAKING, 2, octaves_between(seed, 20.0, 18000.0),
                            between(seed, -12.0, 12.0), octaves_between(seed, 0.3, 8.0)};
}

static PlanishEqSetting shelf(uint32_t *seed, int i)
{
  return (PlanishEqSetting){i % 2 ? PLANISH_EQ_LOW_SHELF : PLANISH_EQ_HIGH_SHELF, 2,
                            i < 8 ? 18000.0 : octaves_between(seed, 20.0, 18000.0),
                            i < 4 ? (i < 2 ? 6.0 : -6.0) : between(seed, -6.0, 6.0), sqrt(0.5)};
}

static PlanishEqSetting low_pass(uint32_t *seed, int i)
{
  return (PlanishEqSetting){PLANISH_EQ_LOW_PASS, (unsigned)(1 + i % 8),
                            i < 8 ? 19500.0 : octaves_between(seed, 8000.0, 19500.0), 0.0,
                            sqrt(0.5)};
}

static PlanishEqSetting high_pass(uint32_t *seed, int i)
{
  return (PlanishEqSetting){PLANISH_EQ_HIGH_PASS, (unsigned)(1 + i % 8),
                            i < 8 ? 20.0 : octaves_between(seed, 20.0, 1000.0), 0.0, sqrt(0.5)};
}

static PlanishEqSetting tilt(uint32_t *seed, int i)
{
  (void)i;
  return (PlanishEqSetting){PLANISH_EQ_TILT, 2, octaves_between(seed, 20.0, 18000.0),
                            between(seed, -6.0, 6.0), 1.0};
}

/* All that the ports allow; no promise but sanity, and the figure. */
static PlanishEqSetting anything(uint32_t *seed, int i)
{
  return (PlanishEqSetting){(PlanishEqType)(i % 6), (unsigned)(1 + i / 6 % 8),
                            octaves_between(seed, 10.0, 20000.0), between(seed, -18.0, 18.0),
                            octaves_between(seed, 0.1, 20.0)};
}

static const Family families[] = {
    {"peaking, 6 dB, Q 0.5-2", mild_peak, -200.0, 0.02},
    {"peaking, 12 dB, Q 0.3-8", strong_peak, -200.0, 0.05},
    {"shelves, 6 dB, Q 0.707, to 18 kHz", shelf, -200.0, 0.02},
    {"low passes, orders 1-8, 8-19.5 kHz", low_pass, -60.0, 0.03},
    {"high passes, orders 1-8, 20 Hz-1 kHz", high_pass, -300.0, 0.005},
    {"tilt, 6 dB", tilt, -200.0, 0.02},
    {"anything the ports allow", anything, -100.0, 0.05},
};

static void response_is_the_analog_one(void **state)
{
  (void)state;
  for (size_t r = 0; r < sizeof rates / sizeof *rates; ++r) {
    PlanishEqFit fit;
    planish_eq_fit_setup(&fit, rates[r]);
    for (size_t f = 0; f < sizeof families / sizeof *families; ++f) {
      uint32_t seed = 1;
      double worst = 0.0;
      for (int i = 0; i < SETTINGS; ++i) {
        const PlanishEqSetting setting = families[f].draw(&seed, i);
        worst = fmax(worst, largest_error(&fit, &setting, families[f].floor_db));
      }
      printf("%6.0f Hz, %s: error %.5f dB (goal %.3f)\n", rates[r], families[f].name, worst,
             families[f].goal_db);
      assert_true(worst <= families[f].goal_db);
    }
  }
}

/* Peaking filter of the Audio EQ Cookbook (R. Bristow-Johnson). */
static PlanishBiquadCoefs cookbook(const PlanishEqSetting *s, double rate)
{
  const double w0 = 2.0 * PLANISH_PI * s->frequency / rate;
  const double a = pow(10.0, s->gain / 40.0);
  const double alpha = sin(w0) / (2.0 * s->q);
  const double scale = 1.0 / (1.0 + alpha / a);
  return (PlanishBiquadCoefs){(1.0 + alpha * a) * scale, -2.0 * cos(w0) * scale,
                              (1.0 - alpha * a) * scale, -2.0 * cos(w0) * scale,
                              (1.0 - alpha / a) * scale};
}

static void bilinear_design_fails(void **state)
{
  (void)state;
  PlanishEqFit fit;
  planish_eq_fit_setup(&fit, 44100.0);
  uint32_t seed = 1;
  double worst = 0.0;
  for (int i = 0; i < SETTINGS; ++i) {
    const PlanishEqSetting setting = mild_peak(&seed, i);
    const Design made = design(&fit, &setting);
    const PlanishBiquadCoefs biquad = cookbook(&setting, fit.rate);
    for (int n = 0; n < LINES; ++n) {
      const double turns = 20.0 * pow(1000.0, n / (LINES - 1.0)) / fit.rate;
      const double wanted = planish_eq_prototype_power(&made.prototype, 2.0 * PLANISH_PI * turns);
      worst = fmax(worst, fabs(10.0 * log10(planish_biquad_power(&biquad, turns) / wanted)));
    }
  }
  printf("cookbook form, 44.1 kHz, peaking 6 dB: error %.2f dB\n", worst);
  assert_true(worst > 2.0);
}

/* The sections without the correction: it is needed. */
static void sections_alone_fail(void **state)
{
  (void)state;
  PlanishEqFit fit;
  planish_eq_fit_setup(&fit, 44100.0);
  uint32_t seed = 1;
  double worst = 0.0;
  for (int i = 0; i < SETTINGS; ++i) {
    const PlanishEqSetting setting = mild_peak(&seed, i);
    Design made = design(&fit, &setting);
    made.taps[0] = 1.0;
    for (int k = 1; k < PLANISH_EQ_TAPS; ++k) {
      made.taps[k] = 0.0;
    }
    worst = fmax(worst, fabs(error_at(&made, 2.0 * PLANISH_PI * 20000.0 / fit.rate)));
  }
  printf("sections without correction: error %.2f dB\n", worst);
  assert_true(worst > 0.5);
}

static double level(const PlanishEqPrototype *prototype, double w)
{
  return 10.0 * log10(planish_eq_prototype_power(prototype, w));
}

/* Closed forms of the Audio EQ Cookbook's prototypes and of Butterworth's filters. */
static void prototypes_are_those_of_the_header(void **state)
{
  (void)state;
  const double rate = 2.0 * PLANISH_PI; /* so that w is Hz */
  PlanishEqPrototype p;
  planish_eq_prototype(&(PlanishEqSetting){PLANISH_EQ_PEAKING, 2, 1.0, 6.0, 2.0}, rate, &p);
  assert_true(fabs(level(&p, 1.0) - 6.0) < 1e-12);
  /* Half the gain in dB where x - 1/x = +-1/Q. */
  assert_true(fabs(level(&p, 0.25 + sqrt(1.0625)) - 3.0) < 1e-12);
  planish_eq_prototype(&(PlanishEqSetting){PLANISH_EQ_LOW_SHELF, 2, 1.0, 6.0, 0.7}, rate, &p);
  assert_true(fabs(level(&p, 1.0) - 3.0) < 1e-12);
  assert_true(fabs(level(&p, 1e-6) - 6.0) < 1e-9 && fabs(level(&p, 1e6)) < 1e-9);
  planish_eq_prototype(&(PlanishEqSetting){PLANISH_EQ_HIGH_SHELF, 2, 1.0, -6.0, 0.7}, rate, &p);
  assert_true(fabs(level(&p, 1.0) + 3.0) < 1e-12);
  assert_true(fabs(level(&p, 1e6) + 6.0) < 1e-9 && fabs(level(&p, 1e-6)) < 1e-9);
  planish_eq_prototype(&(PlanishEqSetting){PLANISH_EQ_TILT, 2, 1.0, 6.0, 0.7}, rate, &p);
  assert_true(fabs(level(&p, 1e6) - 3.0) < 1e-9 && fabs(level(&p, 1e-6) + 3.0) < 1e-9);
  assert_true(fabs(level(&p, 1.0)) < 1e-12);
  for (unsigned order = 1; order <= PLANISH_EQ_MAX_ORDER; ++order) {
    for (double w = 0.1; w < 10.0; w *= 1.3) {
      PlanishEqSetting s = {PLANISH_EQ_LOW_PASS, order, 1.0, 0.0, sqrt(0.5)};
      planish_eq_prototype(&s, rate, &p);
      assert_true(fabs(level(&p, w) + 10.0 * log10(1.0 + pow(w, 2.0 * order))) < 1e-10);
      s.type = PLANISH_EQ_HIGH_PASS;
      planish_eq_prototype(&s, rate, &p);
      assert_true(fabs(level(&p, w) + 10.0 * log10(1.0 + pow(w, -2.0 * order))) < 1e-10);
    }
  }
  planish_eq_prototype(&(PlanishEqSetting){PLANISH_EQ_LOW_PASS, 2, 1.0, 0.0, 2.0}, rate, &p);
  assert_true(fabs(level(&p, 1.0) - 20.0 * log10(2.0)) < 1e-12);
  /* Order 4: the pair with the damping 2 sin(pi/8) has it scaled, that with 2 sin(3 pi/8) not. */
  planish_eq_prototype(&(PlanishEqSetting){PLANISH_EQ_LOW_PASS, 4, 1.0, 0.0, 2.0}, rate, &p);
  const double w = 0.8;
  const double sharp = 2.0 * sin(PLANISH_PI / 8.0) * sqrt(0.5) / 2.0;
  const double gentle = 2.0 * sin(3.0 * PLANISH_PI / 8.0);
  const double low = (1.0 - w * w) * (1.0 - w * w);
  const double power = (low + sharp * sharp * w * w) * (low + gentle * gentle * w * w);
  assert_true(fabs(level(&p, w) + 10.0 * log10(power)) < 1e-10);
}

static void cut_is_boost_turned_over(void **state)
{
  (void)state;
  PlanishEqFit fit;
  planish_eq_fit_setup(&fit, 44100.0);
  uint32_t seed = 7;
  double worst = 0.0;
  for (int i = 0; i < SETTINGS; ++i) {
    PlanishEqSetting setting = strong_peak(&seed, i);
    const Design boost = design(&fit, &setting);
    setting.gain = -setting.gain;
    const Design cut = design(&fit, &setting);
    for (double hz = 20.0; hz < 22000.0; hz *= 1.1) {
      const double w = 2.0 * PLANISH_PI * hz / fit.rate;
      const double both = planish_eq_power(&boost.sections, boost.taps, w) *
                          planish_eq_power(&cut.sections, cut.taps, w);
      worst = fmax(worst, fabs(10.0 * log10(both)));
    }
  }
  printf("boost times cut: %.2g dB from flat\n", worst);
  assert_true(worst <= 0.002);
}

static void neutral_is_exact(void **state)
{
  (void)state;
  PlanishEqFit fit;
  planish_eq_fit_setup(&fit, 44100.0);
  static const PlanishEqType types[] = {PLANISH_EQ_PEAKING, PLANISH_EQ_LOW_SHELF,
                                        PLANISH_EQ_HIGH_SHELF, PLANISH_EQ_TILT};
  for (size_t t = 0; t < sizeof types / sizeof *types; ++t) {
    const PlanishEqSetting setting = {types[t], 2, 3000.0, 0.0, 1.3};
    assert_true(planish_eq_is_neutral(&setting));
    const Design made = design(&fit, &setting);
    assert_true(made.sections.section[0].m0 == 1.0 && made.sections.section[0].m1 == 0.0 &&
                made.sections.section[0].m2 == 0.0);
    assert_true(made.taps[0] == 1.0);
    for (int k = 1; k < PLANISH_EQ_TAPS; ++k) {
      assert_true(made.taps[k] == 0.0);
    }
  }
}

/* Low rates, where roots lie beyond half the rate: to 80 % of it, and nothing bursts. */
static void low_rates_are_sane(void **state)
{
  (void)state;
  static const double low[] = {8000.0, 22050.0, 32000.0};
  for (size_t r = 0; r < sizeof low / sizeof *low; ++r) {
    PlanishEqFit fit;
    planish_eq_fit_setup(&fit, low[r]);
    uint32_t seed = 3;
    double worst = 0.0;
    for (int i = 0; i < SETTINGS; ++i) {
      const PlanishEqSetting setting = anything(&seed, i);
      const Design made = design(&fit, &setting);
      for (double turns = 1e-3; turns < 0.4; turns *= 1.03) {
        const double w = 2.0 * PLANISH_PI * turns;
        if (level(&made.prototype, w) > -60.0) {
          worst = fmax(worst, fabs(error_at(&made, w)));
        }
        assert_true(isfinite(error_at(&made, w)));
      }
    }
    printf("%6.0f Hz, anything, to 80 %% of half the rate: error %.3f dB\n", low[r], worst);
    assert_true(worst <= 1.5);
  }
}

static void trigonometry_is_accurate(void **state)
{
  (void)state;
  double worst = 0.0;
  for (double x = -100.0; x <= 100.0; x += 0.000373) {
    const PlanishSineCosine both = planish_sine_cosine(x);
    worst = fmax(worst, fabs((double)(both.sine - sinl((long double)x))));
    worst = fmax(worst, fabs((double)(both.cosine - cosl((long double)x))));
  }
  double worst_exp = 0.0;
  for (double x = -690.0; x <= 690.0; x += 0.0117) {
    const long double expected = expl((long double)x);
    const double error = fabs((double)((planish_exp(x) - expected) / expected));
    worst_exp = fmax(worst_exp, error / (1.0 + fabs(x)));
  }
  printf("sine, cosine: largest error %.2g; exp: %.2g (1 + |x|)\n", worst, worst_exp);
  assert_true(worst <= 3e-16);
  assert_true(worst_exp <= 4e-16);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(trigonometry_is_accurate),
      cmocka_unit_test(prototypes_are_those_of_the_header),
      cmocka_unit_test(response_is_the_analog_one),
      cmocka_unit_test(bilinear_design_fails),
      cmocka_unit_test(sections_alone_fail),
      cmocka_unit_test(cut_is_boost_turned_over),
      cmocka_unit_test(neutral_is_exact),
      cmocka_unit_test(low_rates_are_sane),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
