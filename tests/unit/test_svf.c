/* The state-variable filter against the direct form, and under coefficients that move. */
#include "common/dsp/maths.h"
#include "common/dsp/svf.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>
#include <stdlib.h>

enum { LENGTH = 4096 };

static double uniform(uint32_t *seed)
{
  *seed = *seed * 1664525U + 1013904223U;
  return *seed / 4294967296.0;
}

/* Poles anywhere within the circle, zeros anywhere. */
static PlanishBiquadCoefs any_biquad(uint32_t *seed)
{
  const double r = 0.999 * sqrt(uniform(seed));
  const double w = PLANISH_PI * uniform(seed);
  PlanishBiquadCoefs coefs = {2.0 * uniform(seed) - 1.0, 2.0 * uniform(seed) - 1.0,
                              2.0 * uniform(seed) - 1.0, -2.0 * r * cos(w), r * r};
  if (uniform(seed) < 0.3) { /* real poles */
    const double p = 1.9 * uniform(seed) - 0.95;
    const double q = 1.9 * uniform(seed) - 0.95;
    coefs.a1 = -(p + q);
    coefs.a2 = p * q;
  }
  return coefs;
}

static void equals_the_direct_form(void **state)
{
  (void)state;
  uint32_t seed = 1;
  double worst = 0.0;
  double worst_power = 0.0;
  static PlanishTwo x[LENGTH];
  for (int i = 0; i < 200; ++i) {
    const PlanishBiquadCoefs biquad = any_biquad(&seed);
    const PlanishSvfCoefs coefs = planish_svf_from_biquad(&biquad);
    PlanishBiquad left = {0};
    PlanishBiquad right = {0};
    PlanishSvf svf = {0};
    static double wanted[2][LENGTH];
    double largest = 1.0;
    for (int n = 0; n < LENGTH; ++n) {
      x[n] = (PlanishTwo){2.0 * uniform(&seed) - 1.0, 2.0 * uniform(&seed) - 1.0};
      wanted[0][n] = planish_biquad_process(&left, &biquad, x[n][0]);
      wanted[1][n] = planish_biquad_process(&right, &biquad, x[n][1]);
      largest = fmax(largest, fabs(wanted[0][n]));
    }
    planish_svf_process(&svf, &coefs, x, LENGTH);
    for (int n = 0; n < LENGTH; ++n) {
      worst = fmax(worst, fabs(x[n][0] - wanted[0][n]) / largest);
      worst = fmax(worst, fabs(x[n][1] - wanted[1][n]) / largest);
    }
    for (double turns = 0.001; turns < 0.5; turns *= 1.2) {
      const double half = sin(PLANISH_PI * turns);
      const double power = planish_biquad_power(&biquad, turns);
      worst_power =
          fmax(worst_power, fabs(planish_svf_power(&coefs, half * half) - power) / (power + 1e-3));
    }
  }
  printf("against the direct form: %.2g of the output; power: %.2g\n", worst, worst_power);
  assert_true(worst <= 1e-11);
  assert_true(worst_power <= 1e-8);
}

static void equal_polynomials_are_an_exact_wire(void **state)
{
  (void)state;
  const PlanishSvfPolynomial p = {0.013, 3.1, 0.07};
  const PlanishSvfCoefs coefs = planish_svf_coefs(&p, &p);
  PlanishSvf svf = {0};
  uint32_t seed = 5;
  for (int n = 0; n < 100; ++n) {
    PlanishTwo x = {uniform(&seed), uniform(&seed)};
    const PlanishTwo before = x;
    planish_svf_process(&svf, &coefs, &x, 1);
    assert_true(x[0] == before[0] && x[1] == before[1]);
  }
}

/* Filters with new random poles on every frame: the direct form bursts, this one must not. */
static void stays_bounded_whatever_moves(void **state)
{
  (void)state;
  uint32_t seed = 11;
  PlanishSvf svf = {0};
  double largest = 0.0;
  for (int n = 0; n < 200000; ++n) {
    const double g = planish_exp2(-12.0 + 14.0 * uniform(&seed));
    const double k = 0.02 + 2.0 * uniform(&seed);
    const PlanishSvfCoefs coefs = {g, k, 0.0, k, 0.0}; /* the band-pass, at most 1 */
    PlanishTwo x = {2.0 * uniform(&seed) - 1.0, 0.0};
    planish_svf_process(&svf, &coefs, &x, 1);
    largest = fmax(largest, fabs(x[0]));
  }
  printf("random coefficients on every frame: largest output %.3g\n", largest);
  assert_true(largest < 100.0);
}

static void moving_is_standing_when_nothing_changes(void **state)
{
  (void)state;
  const PlanishBiquadCoefs biquad = {0.9, -1.2, 0.5, -1.5, 0.7};
  const PlanishSvfCoefs coefs = planish_svf_from_biquad(&biquad);
  PlanishSvfCoefs now = coefs;
  const PlanishSvfCoefs none = {0};
  PlanishSvf a = {0};
  PlanishSvf b = {0};
  uint32_t seed = 2;
  for (int n = 0; n < 1000; ++n) {
    PlanishTwo x = {uniform(&seed), uniform(&seed)};
    PlanishTwo y = x;
    planish_svf_process(&a, &coefs, &x, 1);
    planish_svf_process_moving(&b, &now, &none, &y, 1);
    assert_true(x[0] == y[0] && x[1] == y[1]);
  }
}

static PlanishSvfCoefs any_coefs(uint32_t *seed)
{
  const PlanishBiquadCoefs biquad = any_biquad(seed);
  return planish_svf_from_biquad(&biquad);
}

/* A way in one go, and cut after `cut` frames, against frame after frame. */
static double way_error(uint32_t *seed, unsigned cut)
{
  enum { WAY = PLANISH_SVF_WAY };
  const PlanishSvfCoefs from = any_coefs(seed);
  const PlanishSvfCoefs to = any_coefs(seed);
  const double share = 1.0 / WAY;
  const PlanishSvfCoefs change = {(to.g - from.g) * share, (to.k - from.k) * share,
                                  (to.m0 - from.m0) * share, (to.m1 - from.m1) * share,
                                  (to.m2 - from.m2) * share};
  PlanishSvfCoefs now = from;
  PlanishTwo in[WAY];
  PlanishTwo plain[WAY];
  PlanishTwo whole[WAY];
  PlanishTwo cut_up[WAY];
  double error = 0.0;
  double largest = 1.0;
  for (int n = 0; n < WAY; ++n) {
    in[n] = (PlanishTwo){2.0 * uniform(seed) - 1.0, 2.0 * uniform(seed) - 1.0};
    plain[n] = in[n];
  }
  PlanishSvf a = {{0.5, -0.5}, {0.25, 1.0}};
  PlanishSvf b = a;
  PlanishSvf c = a;
  PlanishSvfWay way;
  planish_svf_process_moving(&a, &now, &change, plain, WAY);
  planish_svf_way_set(&way, &from, &to);
  planish_svf_process_way(&b, &way, 0, in, whole, WAY);
  planish_svf_process_way(&c, &way, 0, in, cut_up, cut);
  planish_svf_process_way(&c, &way, cut, in + cut, cut_up + cut, WAY - cut);
  assert_memory_equal(whole, cut_up, sizeof whole);
  for (int n = 0; n < WAY; ++n) {
    largest = fmax(largest, fabs(plain[n][0]));
    error = fmax(error, fabs(plain[n][0] - whole[n][0]) + fabs(plain[n][1] - whole[n][1]));
  }
  return error / largest;
}

static void a_way_is_its_frames(void **state)
{
  (void)state;
  uint32_t seed = 4;
  double worst = 0.0;
  for (int i = 0; i < 2000; ++i) {
    worst = fmax(worst, way_error(&seed, (unsigned)i % (PLANISH_SVF_WAY + 1)));
  }
  printf("a way against its frames: %.2g of the output (goal 1e-12)\n", worst);
  assert_true(worst <= 1e-12);
}

/* Some frames by pairs, in blocks of up to `most` frames, in place. */
static void process_by_pairs(const PlanishSvfCoefs *coefs, PlanishTwo *x, unsigned frames,
                             unsigned most, uint32_t *seed)
{
  PlanishSvf svf = {{0.0, 0.0}, {0.0, 0.0}};
  PlanishTwo waiting = {0.0, 0.0};
  PlanishSvfPairs pairs;
  planish_svf_pairs_set(&pairs, coefs);
  for (unsigned at = 0; at < frames;) {
    const unsigned wanted = (unsigned)((most + 1) * uniform(seed));
    const unsigned part = wanted < frames - at ? wanted : frames - at;
    planish_svf_process_pairs(&svf, &pairs, &waiting, at, x + at, x + at, part);
    at += part;
  }
}

static void pairs_are_their_frames(void **state)
{
  (void)state;
  static PlanishTwo plain[LENGTH];
  static PlanishTwo whole[LENGTH];
  static PlanishTwo cut[LENGTH];
  uint32_t seed = 6;
  double worst = 0.0;
  for (int i = 0; i < 200; ++i) {
    const PlanishSvfCoefs coefs = any_coefs(&seed);
    PlanishSvf svf = {{0.0, 0.0}, {0.0, 0.0}};
    double largest = 1.0;
    for (int n = 0; n < LENGTH; ++n) {
      plain[n] = (PlanishTwo){2.0 * uniform(&seed) - 1.0, 2.0 * uniform(&seed) - 1.0};
      whole[n] = plain[n];
      cut[n] = plain[n];
    }
    planish_svf_process(&svf, &coefs, plain, LENGTH);
    process_by_pairs(&coefs, whole, LENGTH, LENGTH, &seed);
    process_by_pairs(&coefs, cut, LENGTH, 5, &seed);
    assert_memory_equal(whole, cut, sizeof whole);
    for (int n = 0; n < LENGTH; ++n) {
      largest = fmax(largest, fabs(plain[n][0]));
      worst = fmax(worst, fabs(plain[n][0] - whole[n][0]) / largest);
      worst = fmax(worst, fabs(plain[n][1] - whole[n][1]) / largest);
    }
  }
  printf("pairs against frames: %.2g of the output (goal 1e-12)\n", worst);
  assert_true(worst <= 1e-12);
}

/* A shelf at 10 Hz and 768 kHz, where the states differ from frame to frame by hardly more than
 * their rounding: 0 Hz comes out at its gain. Goal 1e-9, -180 dB. */
static void pairs_are_exact_far_down(void **state)
{
  (void)state;
  enum { BLOCK = 1024 };
  const double g = PLANISH_PI * 10.0 / 768000.0;
  const PlanishSvfCoefs coefs = {g, 1.4, 1.0, 1.4 * 0.4, 1.0};
  PlanishSvf svf = {{0.0, 0.0}, {0.0, 0.0}};
  PlanishTwo waiting = {0.0, 0.0};
  PlanishTwo x[BLOCK];
  PlanishSvfPairs pairs;
  planish_svf_pairs_set(&pairs, &coefs);
  for (int block = 0; block < 1500; ++block) { /* two seconds */
    for (int n = 0; n < BLOCK; ++n) {
      x[n] = (PlanishTwo){1.0, -0.7};
    }
    planish_svf_process_pairs(&svf, &pairs, &waiting, 0, x, x, BLOCK);
  }
  const double error = fmax(fabs(x[BLOCK - 1][0] - 2.0), fabs(x[BLOCK - 1][1] + 1.4));
  printf("0 Hz under a shelf at 10 Hz, 768 kHz: off by %.2g\n", error);
  assert_true(error <= 1e-9);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(equals_the_direct_form),
      cmocka_unit_test(equal_polynomials_are_an_exact_wire),
      cmocka_unit_test(stays_bounded_whatever_moves),
      cmocka_unit_test(moving_is_standing_when_nothing_changes),
      cmocka_unit_test(a_way_is_its_frames),
      cmocka_unit_test(pairs_are_their_frames),
      cmocka_unit_test(pairs_are_exact_far_down),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
