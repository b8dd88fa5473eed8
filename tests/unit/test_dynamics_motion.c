/* The dynamics stage while its controls move: its ranges, the same bits for any blocks, no clicks.
 */
#include "tests/unit/dynamics_fixture.h"

#define RATE 48000.0

enum { LATE = 240 };

/* All controls anywhere, every few milliseconds. The ranges in force may be those of 20 ms ago. */
static void scatter(StageDriver *driver, uint64_t *seed, int step)
{
  for (uint32_t i = DYNAMICS_THRESHOLD; i < DYNAMICS_PORT_COUNT; ++i) {
    const PlanishPort *port = &dynamics_port_table[i];
    const double share = 0.5 + 0.5 * dynamics_noise(seed);
    if (port->kind == PLANISH_PORT_INPUT && dynamics_noise(seed) > 0.3) {
      const double value = (double)port->minimum + share * (double)(port->maximum - port->minimum);
      driver->values[i] = (float)(port->whole ? floor(value + 0.5) : value);
    }
  }
  driver->values[DYNAMICS_MAKEUP] = 0.0F;
  if (step == 0) {
    driver->values[DYNAMICS_BAND_TYPE] = 0.0F;
  }
}

static void ranges_hold_on_random_walks(void **state)
{
  (void)state;
  enum { STEP = 320, STEPS = 1500, BACK = 4 };
  double x[2][STEP];
  double y[2][STEP];
  double delayed[2][STEP + LATE] = {{0}};
  double up[BACK] = {0};
  double down[BACK] = {0};
  double nearest = 0.0;
  uint64_t seed = 4;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[DYNAMICS_MAX_ABOVE] = 0.0F;
  driver.values[DYNAMICS_MAX_BELOW] = 0.0F;
  for (int step = 0; step < STEPS; ++step) {
    scatter(&driver, &seed, 0);
    up[step % BACK] = (double)driver.values[DYNAMICS_MAX_BELOW];
    down[step % BACK] =
        fmax((double)driver.values[DYNAMICS_MAX_ABOVE], (double)driver.values[DYNAMICS_MAX_BELOW]);
    const double height = pow(10.0, -2.5 + 2.5 * dynamics_noise(&seed));
    for (int n = 0; n < STEP; ++n) {
      x[0][n] = height * dynamics_noise(&seed);
      x[1][n] = 0.3 * height * dynamics_noise(&seed);
    }
    dynamics_run(&driver, x[0], x[1], y[0], y[1], STEP);
    const double most = fmax(fmax(up[0], up[1]), fmax(up[2], up[3]));
    const double least = fmax(fmax(down[0], down[1]), fmax(down[2], down[3]));
    for (int c = 0; c < 2; ++c) {
      memcpy(delayed[c] + LATE, x[c], STEP * sizeof(double));
      for (int n = 0; n < STEP; ++n) {
        if (fabs(delayed[c][n]) > 1e-9) {
          const double gain = 20.0 * log10(y[c][n] / delayed[c][n]);
          assert_true(gain <= most + 1e-9 && gain >= -least - 1e-9);
          nearest = fmax(nearest, fabs(gain));
        }
      }
      memmove(delayed[c], delayed[c] + STEP, LATE * sizeof(double));
    }
  }
  printf("ranges held on %d random settings of all controls; largest gain %.3f dB\n", STEPS,
         nearest);
  assert_true(nearest > 4.0);
  stage_driver_free(&driver);
}

/* Everything on its way, in blocks of 32 and of 5: the same bits. */
static void bits_do_not_depend_on_blocks(void **state)
{
  (void)state;
  enum { STEP = 320, STEPS = 150 };
  static double out[2][2][STEP * STEPS];
  float reported[2];
  for (int way = 0; way < 2; ++way) {
    StageDriver driver;
    uint64_t seed = 31;
    stage_driver_new(&driver, &planish_stage, RATE);
    driver.block_limit = way == 0 ? 32 : 5;
    for (int step = 0; step < STEPS; ++step) {
      double x[2][STEP];
      scatter(&driver, &seed, 1);
      driver.values[DYNAMICS_MAKEUP] = (float)(step / 40 % 2);
      for (int n = 0; n < STEP; ++n) {
        x[0][n] = 0.5 * dynamics_noise(&seed);
        x[1][n] = 0.2 * dynamics_noise(&seed);
      }
      dynamics_run(&driver, x[0], x[1], out[way][0] + step * STEP, out[way][1] + step * STEP, STEP);
    }
    reported[way] = driver.values[DYNAMICS_GAIN_CHANGE];
    stage_driver_free(&driver);
  }
  assert_memory_equal(out[0], out[1], sizeof out[0]);
  assert_true(reported[0] == reported[1]);
}

/* A tone of 60 Hz while everything moves: a step of 0.001 would show as its own height in the
 * second difference, of which the tone itself has 3e-5. */
static void moves_make_no_clicks(void **state)
{
  (void)state;
  enum { STEP = 640, STEPS = 400 };
  StageDriver driver;
  uint64_t seed = 12;
  double roughest = 0.0;
  double past[2] = {0.0, 0.0};
  double *x = dynamics_sine((size_t)STEP * STEPS, 60.0, -6.0, 0.0);
  stage_driver_new(&driver, &planish_stage, RATE);
  for (int step = 0; step < STEPS; ++step) {
    scatter(&driver, &seed, 1);
    driver.values[DYNAMICS_ATTACK] = 10.0F + driver.values[DYNAMICS_ATTACK];
    driver.values[DYNAMICS_RELEASE] = 10.0F + driver.values[DYNAMICS_RELEASE];
    driver.values[DYNAMICS_MAKEUP] = (float)(step / 50 % 2);
    double *part = x + (size_t)step * STEP;
    dynamics_run(&driver, part, NULL, part, NULL, STEP);
    for (int n = 0; n < STEP; ++n) {
      if (step > 1) {
        roughest = fmax(roughest, fabs(part[n] - 2.0 * past[0] + past[1]));
      }
      past[1] = past[0];
      past[0] = part[n];
    }
  }
  printf("everything moves under 60 Hz: roughest second difference %.6f\n", roughest);
  assert_true(roughest <= 0.001);
  stage_driver_free(&driver);
  free(x);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(ranges_hold_on_random_walks),
      cmocka_unit_test(bits_do_not_depend_on_blocks),
      cmocka_unit_test(moves_make_no_clicks),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
