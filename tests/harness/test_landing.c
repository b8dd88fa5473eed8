#include "harness/render/landing.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

/* A chain made up for the test: loudness follows the gain as behind limiters, with a slope of 1 at
 * first, flattening towards `most`; the true peak stands `excess` over the ceilings. */
typedef struct {
  double working; /* LUFS at 0 dB */
  double most;    /* LUFS that the chain can reach */
  double bend;    /* LU below `most` at which half the slope is left */
  double excess;  /* dB of true peak over the ceiling's controls */
  double ceiling; /* where they stand, dBTP */
  double share;   /* LU lost with each dB that they are lowered */
} Chain;

static double loudness_at(const Chain *chain, double gain, double lowering)
{
  /* A soft minimum of the straight line and the most there can be. */
  const double x = (chain->working + gain - chain->most) / chain->bend;
  const double soft = x > 30.0 ? 0.0 : (x < -30.0 ? x : -log1p(exp(-x)));
  return chain->most + chain->bend * soft - chain->share * lowering;
}

/* `told`: how loud the chain would be without limiting is known. */
static PlanishLanding land_knowing(const Chain *chain, const PlanishLandingTask *task,
                                   double control, bool told)
{
  PlanishLanding landing;
  planish_landing_start(&landing, task, control);
  while (landing.state == PLANISH_LANDING_ON_ITS_WAY) {
    assert_in_range(landing.renders, 0, PLANISH_LANDING_RENDERS - 1);
    if (told) {
      planish_landing_know(&landing, chain->working);
    }
    planish_landing_next(&landing, loudness_at(chain, landing.control, landing.lowering),
                         chain->ceiling - landing.lowering + chain->excess);
  }
  return landing;
}

static PlanishLanding land(const Chain *chain, const PlanishLandingTask *task, double control)
{
  return land_knowing(chain, task, control, false);
}

static PlanishLandingTask task_of(double loudness)
{
  return (PlanishLandingTask){.has_loudness = true,
                              .loudness = loudness,
                              .minimum = -24.0,
                              .maximum = 24.0,
                              .has_ceiling = true,
                              .ceiling = -1.0,
                              .most_lowering = 19.0};
}

/* Many chains and targets, from 0 dB. Returns the renders on average. */
static double land_many(bool told)
{
  static const double bends[] = {0.1, 0.5, 1.0, 2.0};
  unsigned most = 0;
  unsigned sum = 0;
  unsigned count = 0;
  for (size_t b = 0; b < sizeof bends / sizeof *bends; ++b) {
    for (double working = -30.0; working <= -6.0; working += 1.7) {
      for (double target = -20.0; target <= -8.0; target += 1.3) {
        const Chain chain = {working, -6.0, bends[b], 0.01, -1.0, 0.3};
        const PlanishLandingTask task = task_of(target);
        const PlanishLanding landing = land_knowing(&chain, &task, 0.0, told);
        if (landing.state == PLANISH_LANDING_STALL) {
          /* Only where the chain is really flat there. */
          assert_true(target > -6.0 - 1.2 * bends[b]);
          continue;
        }
        if (landing.state != PLANISH_LANDED) {
          print_error("bend %g, from %g to %g LUFS: %.3f LU off at %.2f dB\n", bends[b], working,
                      target, landing.best.loudness - target, landing.best.control);
        }
        assert_int_equal(landing.state, PLANISH_LANDED);
        assert_true(fabs(landing.best.loudness - target) <= PLANISH_LANDING_TOLERANCE);
        most = landing.renders > most ? landing.renders : most;
        sum += landing.renders;
        count += 1;
      }
    }
  }
  printf("%u landings from 0 dB%s: %.2f renders on average, %u at most\n", count,
         told ? ", what limiting costs being known" : "", (double)sum / count, most);
  assert_true(most <= PLANISH_LANDING_RENDERS);
  return (double)sum / count;
}

static void lands_on_chains_of_every_hardness(void **state)
{
  (void)state;
  assert_true(land_many(false) <= 3.2);
  assert_true(land_many(true) <= 2.5);
}

static void a_start_near_the_target_lands_in_few(void **state)
{
  (void)state;
  unsigned most = 0;
  for (double target = -16.0; target <= -8.0; target += 0.25) {
    const Chain chain = {-18.0, -7.0, 0.8, 0.0, -1.0, 0.3};
    const PlanishLandingTask task = task_of(target);
    const PlanishLanding landing = land(&chain, &task, target + 18.0);
    assert_int_equal(landing.state, PLANISH_LANDED);
    most = landing.renders > most ? landing.renders : most;
  }
  printf("from a straight guess: %u renders at most\n", most);
  assert_true(most <= 3);
}

static void an_overshoot_lowers_the_ceilings(void **state)
{
  (void)state;
  for (double excess = 0.03; excess < 1.7; excess *= 1.5) {
    const Chain chain = {-18.0, -6.0, 1.0, excess, -1.0, 0.4};
    const PlanishLandingTask task = task_of(-9.0);
    const PlanishLanding landing = land(&chain, &task, 9.0);
    assert_int_equal(landing.state, PLANISH_LANDED);
    assert_true(landing.best.true_peak <= -1.0 + PLANISH_LANDING_OVER);
    assert_true(landing.best.lowering > excess - 1e-9 && landing.best.lowering < excess + 0.02);
    assert_true(fabs(landing.best.loudness + 9.0) <= PLANISH_LANDING_TOLERANCE);
    assert_in_range(landing.renders, 2, 4);
  }
}

/* The true peak follows the drive up to the ceiling's controls. */
static double peak_at(double gain, double lowering)
{
  return fmin(gain - 10.0, -1.0 - lowering + 0.5);
}

static PlanishLanding land_from_above(double most_lowering)
{
  const Chain chain = {-24.0, 20.0, 1.0, 0.0, -1.0, 0.3};
  PlanishLandingTask task = task_of(-20.0);
  task.most_lowering = most_lowering;
  PlanishLanding landing;
  planish_landing_start(&landing, &task, 12.0);
  while (landing.state == PLANISH_LANDING_ON_ITS_WAY) {
    planish_landing_next(&landing, loudness_at(&chain, landing.control, landing.lowering),
                         peak_at(landing.control, landing.lowering));
  }
  return landing;
}

static void what_was_over_on_the_way_costs_nothing(void **state)
{
  (void)state;
  static const double rooms[] = {19.0, 0.0};
  for (size_t n = 0; n < 2; ++n) {
    const PlanishLanding landing = land_from_above(rooms[n]);
    assert_int_equal(landing.state, PLANISH_LANDED);
    assert_true(landing.best.lowering == 0.0);
  }
}

static void a_hair_over_is_let_pass(void **state)
{
  (void)state;
  const Chain chain = {-18.0, 20.0, 1.0, 0.019, -1.0, 0.4};
  const PlanishLandingTask task = task_of(-12.0);
  const PlanishLanding landing = land(&chain, &task, 6.0);
  assert_int_equal(landing.state, PLANISH_LANDED);
  assert_int_equal(landing.renders, 1);
}

static void what_stands_in_the_way_is_told(void **state)
{
  (void)state;
  /* Limiters that stall at -9. */
  Chain chain = {-18.0, -9.0, 0.5, -0.1, -1.0, 0.3};
  PlanishLandingTask task = task_of(-8.0);
  PlanishLanding landing = land(&chain, &task, 0.0);
  assert_int_equal(landing.state, PLANISH_LANDING_STALL);
  assert_true(landing.slope < PLANISH_LANDING_STALLED);
  assert_true(landing.best.loudness > -10.0);

  /* A control with too little range, on either side. */
  chain = (Chain){-40.0, 0.0, 0.5, -0.1, -1.0, 0.3};
  landing = land(&chain, &task, 0.0);
  assert_int_equal(landing.state, PLANISH_LANDING_CONTROL_AT_END);
  assert_true(landing.best.control == 24.0);
  chain.working = 10.0;
  task.minimum = 0.0;
  chain.most = 20.0;
  landing = land(&chain, &task, 6.0);
  assert_int_equal(landing.state, PLANISH_LANDING_CONTROL_AT_END);
  assert_true(landing.best.control == 0.0);

  /* Over the ceiling, and nothing to lower. */
  chain = (Chain){-18.0, 0.0, 0.5, 0.4, -1.0, 0.3};
  task = task_of(-12.0);
  task.most_lowering = 0.0;
  landing = land(&chain, &task, 6.0);
  assert_int_equal(landing.state, PLANISH_LANDING_CEILING_FIXED);

  /* Nothing comes out. */
  planish_landing_start(&landing, &task, 0.0);
  planish_landing_next(&landing, -HUGE_VAL, -HUGE_VAL);
  assert_int_equal(landing.state, PLANISH_LANDING_SILENT);
}

static void a_stalled_master_still_gets_under_the_ceiling(void **state)
{
  (void)state;
  const Chain chain = {-18.0, -9.0, 0.5, 0.3, -1.0, 0.3};
  const PlanishLandingTask task = task_of(-8.0);
  const PlanishLanding landing = land(&chain, &task, 0.0);
  assert_int_equal(landing.state, PLANISH_LANDING_STALL);
  assert_true(landing.best.true_peak <= -1.0 + PLANISH_LANDING_OVER);
}

static void the_ceiling_alone_can_be_the_target(void **state)
{
  (void)state;
  const Chain chain = {-18.0, -9.0, 0.5, 0.3, -1.0, 0.3};
  PlanishLandingTask task = task_of(-8.0);
  task.has_loudness = false;
  const PlanishLanding landing = land(&chain, &task, 0.0);
  assert_int_equal(landing.state, PLANISH_LANDED);
  assert_int_equal(landing.renders, 2);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(lands_on_chains_of_every_hardness),
      cmocka_unit_test(a_start_near_the_target_lands_in_few),
      cmocka_unit_test(an_overshoot_lowers_the_ceilings),
      cmocka_unit_test(what_was_over_on_the_way_costs_nothing),
      cmocka_unit_test(a_hair_over_is_let_pass),
      cmocka_unit_test(what_stands_in_the_way_is_told),
      cmocka_unit_test(a_stalled_master_still_gets_under_the_ceiling),
      cmocka_unit_test(the_ceiling_alone_can_be_the_target),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
