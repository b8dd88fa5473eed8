/* Minimum phase from the magnitude alone, against filters that have it by design; and the single
 * precision functions under it, against libm. */
#include "tests/unit/cmocka_headers.h"

#include "common/dsp/minimum_phase.h"
#include "common/dsp/spectral_maths.h"
#include "tests/unit/arena_fixture.h"

#include <complex.h>
#include <math.h>
#include <stdio.h>

static const double complex imaginary = (double complex)I;
static const double pi = 3.14159265358979323846;

typedef struct {
  PlanishMinimumPhase phase;
  PlanishTask tasks[PLANISH_MINIMUM_PHASE_TASKS];
  void *block;
} Fixture;

static void fixture_new(Fixture *f, uint32_t length, double reach)
{
  memset(f, 0, sizeof *f);
  PlanishArena counting = planish_arena_counting();
  assert_int_equal(planish_minimum_phase_setup(&f->phase, &counting, length, reach), PLANISH_OK);
  PlanishArena arena = arena_for(counting);
  f->block = arena.block;
  assert_int_equal(planish_minimum_phase_setup(&f->phase, &arena, length, reach), PLANISH_OK);
  assert_int_equal(arena.used, counting.used);
  assert_int_equal(planish_minimum_phase_tasks(&f->phase, f->tasks), PLANISH_MINIMUM_PHASE_TASKS);
}

static void fixture_run(Fixture *f)
{
  for (uint32_t t = 0; t < PLANISH_MINIMUM_PHASE_TASKS; ++t) {
    for (uint32_t i = 0; i < f->tasks[t].count; ++i) {
      f->tasks[t].step(f->tasks[t].context, i);
    }
  }
}

static void fixture_free(Fixture *f)
{
  planish_minimum_phase_release(&f->phase);
  free(f->block);
}

/* A bell of the audio EQ cookbook (R. Bristow-Johnson): a biquad with all zeros inside the unit
 * circle is minimum phase. */
static double complex bell(double hz, double gain_db, double q, double rate, double at)
{
  const double a = pow(10.0, gain_db / 40.0);
  const double w = 2.0 * pi * hz / rate;
  const double alpha = sin(w) / (2.0 * q);
  const double complex z = cexp(-imaginary * 2.0 * pi * at / rate);
  const double complex above = 1.0 + alpha * a - 2.0 * cos(w) * z + (1.0 - alpha * a) * z * z;
  const double complex below = 1.0 + alpha / a - 2.0 * cos(w) * z + (1.0 - alpha / a) * z * z;
  return above / below;
}

/* Largest |made - true| over the bins, dB re 1. */
static double off_by(uint32_t length, double hz, double gain_db, double q)
{
  Fixture f;
  double worst = 0.0;
  fixture_new(&f, length, 0.5);
  for (uint32_t k = 0; k <= length / 2; ++k) {
    const double complex truth = bell(hz, gain_db, q, 48000.0, k * 48000.0 / length);
    f.phase.log_gain[k] = (float)log2(cabs(truth));
  }
  fixture_run(&f);
  for (uint32_t k = 0; k <= length / 2; ++k) {
    const double complex truth = bell(hz, gain_db, q, 48000.0, k * 48000.0 / length);
    const double complex made =
        1.0 + (double)f.phase.added[k].re + imaginary * (double)f.phase.added[k].im;
    worst = fmax(worst, cabs(made - truth));
  }
  assert_true(f.phase.added[0].im == 0.0F && f.phase.added[length / 2].im == 0.0F);
  fixture_free(&f);
  return 20.0 * log10(worst);
}

/* Zero phase would be off by -6 dB, phase of the wrong sign by 0 dB. */
static void bells_get_their_phase_back(void **state)
{
  (void)state;
  static const struct {
    uint32_t length;
    double hz;
    double gain_db;
    double q;
    double most; /* dB: what the method reaches in double precision, with 1 dB to spare, but at
                    least what single precision can; tau = Q rate / (pi hz) */
  } cases[] = {
      {4096, 2900.0, -12.0, 30.0, -77.0},  /* 26 tau */
      {8192, 2900.0, -12.0, 30.0, -115.0}, /* 52 tau */
      {4096, 5000.0, -12.0, 30.0, -115.0}, {4096, 5000.0, 12.0, 30.0, -93.0},
      {4096, 1000.0, -6.0, 1.0, -115.0},   {1024, 10000.0, 6.0, 0.7, -115.0},
      {16384, 400.0, -12.0, 30.0, -49.0},
  };
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    const double off = off_by(cases[i].length, cases[i].hz, cases[i].gain_db, cases[i].q);
    printf("%5u points, %5.0f Hz, Q %4.1f, %+3.0f dB: off by %.1f dB\n", cases[i].length,
           cases[i].hz, cases[i].q, cases[i].gain_db, off);
    assert_true(off <= cases[i].most);
  }
}

static void no_gain_is_exactly_none(void **state)
{
  (void)state;
  Fixture f;
  fixture_new(&f, 4096, 0.5);
  for (int round = 0; round < 2; ++round) {
    for (uint32_t k = 0; k <= 2048; ++k) {
      f.phase.log_gain[k] = round == 0 ? (float)(k % 7) : 0.0F;
    }
    fixture_run(&f);
  }
  for (uint32_t k = 0; k <= 2048; ++k) {
    assert_true(f.phase.added[k].re == 0.0F && f.phase.added[k].im == 0.0F);
  }
  fixture_free(&f);
}

/* dB of the gain of bin k. */
static double level_of(const Fixture *f, uint32_t k)
{
  const double re = 1.0 + (double)f->phase.added[k].re;
  return 20.0 * log10(hypot(re, (double)f->phase.added[k].im));
}

/* Cuts of 18 dB, as wide as the fade's main lobe and narrower and wider: with a reach under a half
 * they come out smoothed, but nowhere deeper than they were, and nothing is lifted. A smooth step
 * in the fade's place goes past by an eighth. */
static void a_short_reach_makes_a_mean(void **state)
{
  (void)state;
  static const double deep = -18.0;
  double deepest = 0.0;
  double highest = -100.0;
  double narrow = 0.0;
  Fixture f;
  fixture_new(&f, 4096, 0.4);
  for (uint32_t width = 1; width <= 40; ++width) {
    for (uint32_t k = 0; k <= 2048; ++k) {
      f.phase.log_gain[k] = k % 200 < width ? (float)(deep / 20.0 * log2(10.0)) : 0.0F;
    }
    fixture_run(&f);
    for (uint32_t k = 0; k <= 2048; ++k) {
      deepest = fmin(deepest, level_of(&f, k));
      highest = fmax(highest, level_of(&f, k));
    }
    narrow = width == 3 ? level_of(&f, 1001) : narrow;
  }
  printf("cuts of 18 dB: %.4f to %.4f dB; three bins wide %.2f dB\n", deepest, highest, narrow);
  assert_true(deepest >= deep - 1e-4 && highest <= 1e-4);
  assert_true(deepest <= deep + 0.01);
  assert_true(narrow >= -15.0 && narrow <= -14.0);
  fixture_free(&f);
}

/* The log of the gain, back in time: nothing is left beyond the reach. */
static void nothing_rings_beyond_the_reach(void **state)
{
  (void)state;
  enum { LENGTH = 1024 };
  double within = 0.0;
  double beyond = 0.0;
  Fixture f;
  fixture_new(&f, LENGTH, 0.25);
  for (uint32_t k = 0; k <= LENGTH / 2; ++k) {
    f.phase.log_gain[k] = k == 100 ? -2.0F : 0.0F;
  }
  fixture_run(&f);
  for (uint32_t n = 1; n < LENGTH / 2; ++n) {
    double sum = 0.0;
    for (uint32_t k = 1; k < LENGTH / 2; ++k) {
      sum += level_of(&f, k) * cos(2.0 * pi * k * n / LENGTH);
    }
    *(n < LENGTH / 4 ? &within : &beyond) =
        fmax(n < LENGTH / 4 ? within : beyond, fabs(sum) / LENGTH);
  }
  printf("cepstrum: %.2g dB within the reach, %.2g beyond\n", within, beyond);
  assert_true(within >= 5e-3 && beyond <= 1e-6);
  fixture_free(&f);
}

static void the_functions_keep_their_bounds(void **state)
{
  (void)state;
  double log_off = 0.0;
  double exp_off = 0.0;
  double turn_off = 0.0;
  for (int i = -200000; i <= 200000; ++i) {
    const float x = 100.0F * (float)i / 200000.0F;
    const double power = (double)planish_exp2f(x) / exp2((double)x) - 1.0;
    exp_off = fmax(exp_off, fabs(power));
    const float angle = 7.0F * (float)i / 200000.0F;
    const PlanishSineCosineF at = planish_sine_cosinef(angle);
    turn_off = fmax(turn_off, fabs((double)at.sine - sin((double)angle)));
    turn_off = fmax(turn_off, fabs((double)at.cosine - cos((double)angle)));
    const float y = exp2f(x) * 1.001F;
    const double truth = log2((double)y);
    log_off = fmax(log_off, fabs((double)planish_log2f(y) - truth) / fmax(1.0, fabs(truth)));
  }
  printf("log2 off by %.2g, exp2 by %.2g, sine and cosine by %.2g\n", log_off, exp_off, turn_off);
  assert_true(log_off <= 2e-7 && exp_off <= 2e-7 && turn_off <= 3e-7);
  assert_true(planish_exp2f(0.0F) == 1.0F && planish_log2f(1.0F) == 0.0F);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bells_get_their_phase_back),
      cmocka_unit_test(no_gain_is_exactly_none),
      cmocka_unit_test(a_short_reach_makes_a_mean),
      cmocka_unit_test(nothing_rings_beyond_the_reach),
      cmocka_unit_test(the_functions_keep_their_bounds),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
