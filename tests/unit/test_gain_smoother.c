/* Attack and release against the closed forms of the branching detector. */
#include "common/dsp/gain_smoother.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

#define RATE 48000.0

/* Giannoulis, Massberg, Reiss, JAES 60 (2012), sec. 2: attack from 0 is 1 - a^(n+1), release from 1
 * is a^(n+1). Attack 10, release 100 ms after 5, 10, 50, 100 ms: values of the closed form. The
 * decoupled form falls to 0.989489, 0.964437, 0.673105, 0.408707 and must not pass. */
static void steps_are_those_of_the_closed_form(void **state)
{
  (void)state;
  static const struct {
    int frames;
    double attack;
    double release;
  } table[] = {
      {240, 0.393469, 0.951229},
      {480, 0.632121, 0.904837},
      {2400, 0.993262, 0.606531},
      {4800, 0.999955, 0.367879},
  };
  const PlanishGainTimes times = planish_gain_times(10.0, 100.0, RATE);
  double worst = 0.0;
  for (int side = 0; side < 4; ++side) {
    /* Above; lift and expander, whose attack is the way back to 0. */
    const bool above = side == 0;
    const double sign = side == 2 ? -1.0 : 1.0;
    for (size_t i = 0; i < 4; ++i) {
      PlanishGainSmoother out = {0};
      PlanishGainSmoother back = {above ? 1.0 : 0.0, above ? 0.0 : sign};
      const PlanishGainParts full = back;
      const PlanishGainParts none = {0};
      for (int n = 0; n < table[i].frames; ++n) {
        planish_gain_smoother_next(&out, &times, full);
        planish_gain_smoother_next(&back, &times, none);
      }
      const double gone = above ? out.above : sign * out.below;
      const double left = above ? back.above : sign * back.below;
      worst = fmax(worst, fabs(gone - (above ? table[i].attack : 1.0 - table[i].release)));
      worst = fmax(worst, fabs(left - (above ? table[i].release : 1.0 - table[i].attack)));
    }
  }
  printf("steps against the closed form: %.2g\n", worst);
  assert_true(worst <= 1e-6);
}

/* A part that is turned from lift to expansion leaves with the release, as a level that falls does,
 * all the way. */
static void a_turn_through_0_keeps_its_time(void **state)
{
  (void)state;
  const PlanishGainTimes times = planish_gain_times(1.0, 100.0, RATE);
  PlanishGainSmoother smoother = {.below = 2.0};
  for (int n = 0; n < 4800; ++n) {
    planish_gain_smoother_next(&smoother, &times, (PlanishGainParts){.below = -2.0});
  }
  printf("from +2 to -2 dB in one release of 100 ms: at %.6f dB\n", smoother.below);
  assert_true(fabs(smoother.below - (4.0 * exp(-1.0) - 2.0)) <= 1e-6);
}

static double next_random(uint64_t *seed)
{
  *seed = *seed * 6364136223846793005u + 1442695040888963407u;
  return (double)(*seed >> 11) / 9007199254740992.0;
}

/* Levels that jump, times that jump: the shares of both ranges add up to 1 at most. */
static void ranges_hold_on_any_way(void **state)
{
  (void)state;
  uint64_t seed = 5;
  double most = 0.0;
  PlanishGainSmoother smoother = {0};
  PlanishGainTimes times = planish_gain_times(10.0, 100.0, RATE);
  PlanishGainParts target = {0};
  for (int n = 0; n < 400000; ++n) {
    if (n % 50 == 0) {
      const double kind = next_random(&seed);
      target.above = kind < 0.4 ? 1.5 * next_random(&seed) : 0.0;
      target.below = kind > 0.6 ? 3.0 * (2.0 * next_random(&seed) - 1.0) : 0.0;
    }
    if (n % 170 == 0) {
      times = planish_gain_times(0.1 + 20.0 * next_random(&seed), 5.0 + 50.0 * next_random(&seed),
                                 RATE);
    }
    const PlanishGainParts now = planish_gain_smoother_next(&smoother, &times, target);
    most = fmax(most, now.above / 1.5 + fabs(now.below) / 3.0);
  }
  printf("largest sum of shares: %.9f\n", most);
  assert_true(most <= 1.0 + 1e-12);
  assert_true(most > 0.9);
}

static void a_way_back_ends(void **state)
{
  (void)state;
  PlanishGainSmoother smoother = {6.0, 6.0};
  const PlanishGainTimes times = planish_gain_times(10.0, 10.0, RATE);
  for (int n = 0; n < 480 * 24; ++n) {
    planish_gain_smoother_next(&smoother, &times, (PlanishGainParts){0});
  }
  assert_true(smoother.above == 0.0 && smoother.below == 0.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(steps_are_those_of_the_closed_form),
      cmocka_unit_test(a_turn_through_0_keeps_its_time),
      cmocka_unit_test(ranges_hold_on_any_way),
      cmocka_unit_test(a_way_back_ends),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
