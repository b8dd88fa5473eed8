/* Every lane has the bits of the plain function (maths.h, tanh.h). */
#include "common/dsp/lanes_maths.h"
#include "common/dsp/tanh.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/limiter_signals.h"

enum { ROUNDS = 200000 };

static uint64_t seed = 7;

/* Over many magnitudes, both signs; now and then a round number. */
static PlanishFour anything(void)
{
  double x[PLANISH_LANES];
  for (int lane = 0; lane < PLANISH_LANES; ++lane) {
    const double size = exp2(40.0 * signal_uniform(&seed) - 20.0);
    x[lane] = signal_random(&seed) % 16 == 0 ? floor(size) : size;
    x[lane] *= signal_random(&seed) % 2 == 0 ? 1.0 : -1.0;
  }
  return planish_four_load(x);
}

static PlanishFour anything_positive(void)
{
  double x[PLANISH_LANES];
  for (int lane = 0; lane < PLANISH_LANES; ++lane) {
    x[lane] = exp2(600.0 * signal_uniform(&seed) - 400.0);
  }
  x[0] = signal_random(&seed) % 8 == 0 ? 1.0 : x[0];
  return planish_four_load(x);
}

static void same(double x, double y)
{
  assert_memory_equal(&x, &y, sizeof x);
}

static void powers_and_logarithms(void **state)
{
  (void)state;
  for (int round = 0; round < ROUNDS; ++round) {
    const PlanishFour x = anything();
    const PlanishFour positive = anything_positive();
    const PlanishFour power = planish_four_exp2(x);
    const PlanishFour gain = planish_four_gain_of(x);
    const PlanishFour log = planish_four_log2(positive);
    const PlanishFour level = planish_four_level_of_power(positive);
    for (int lane = 0; lane < PLANISH_LANES; ++lane) {
      same(power[lane], planish_exp2(x[lane]));
      same(gain[lane], planish_gain_of(x[lane]));
      same(log[lane], planish_log2(positive[lane]));
      same(level[lane], planish_level_of_power(positive[lane]));
    }
  }
  same(planish_four_level_of_power(planish_all(0.0))[1], planish_level_of_power(0.0));
}

static void bounds_and_steps(void **state)
{
  (void)state;
  for (int round = 0; round < ROUNDS; ++round) {
    const PlanishFour x = anything();
    const double range = round % 9 == 0 ? 0.0 : fabs(anything()[0]);
    const PlanishFour bound = planish_four_soft_bound(x, range);
    const PlanishFour step = planish_four_smoothstep(x);
    const PlanishFour clamped = planish_four_clamp(x, planish_all(-range), planish_all(range));
    for (int lane = 0; lane < PLANISH_LANES; ++lane) {
      same(bound[lane], planish_soft_bound(x[lane], range));
      same(step[lane], planish_smoothstep(x[lane]));
      same(clamped[lane], planish_clamp(x[lane], -range, range));
    }
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(powers_and_logarithms),
      cmocka_unit_test(bounds_and_steps),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
