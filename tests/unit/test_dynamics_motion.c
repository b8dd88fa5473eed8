/* The dynamics stage while its controls move: its ranges, the same bits for any blocks, no clicks.
 */
#include "common/dsp/gain_delay.h"
#include "tests/unit/arena_fixture.h"
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

/* Gains that rise evenly, late by the longest there is, a power of two; then by less, and by less
 * again before the first change is over: without a jump, and right once it is. */
static void delays_of_gains_glide(void **state)
{
  (void)state;
  enum { LONGEST = 256, FRAMES = 6400 };
  const double step = 0.001;
  PlanishGainDelay delay;
  PlanishArena arena = planish_arena_counting();
  planish_gain_delay_setup(&delay, &arena, RATE, LONGEST);
  arena = arena_for(arena);
  PlanishArena fill = arena;
  planish_gain_delay_setup(&delay, &fill, RATE, LONGEST);
  planish_gain_delay_reset(&delay, LONGEST);
  double steepest = 0.0;
  double last = 0.0;
  for (int n = 0; n < FRAMES; ++n) {
    if (n % PLANISH_GRID == 0) {
      delay.wanted = n < 1600 ? LONGEST : n < 1920 ? 10 : 100;
      planish_gain_delay_grid(&delay);
    }
    const PlanishGainPair gains = {.channel = {{.above = step * (n + 1)}, {.above = 0.0}}};
    const double found = planish_gain_delay_next(&delay, gains).channel[0].above;
    if (n < 1600) {
      assert_true(fabs(found - step * fmax(n + 1 - LONGEST, 0.0)) <= 1e-12);
    }
    steepest = fmax(steepest, fabs(found - last));
    last = found;
  }
  assert_true(fabs(last - step * (FRAMES - 100)) <= 1e-12);
  /* 246 frames' worth over 20 ms, at the steepest of the fade, beside the rise itself. */
  printf("delay of gains on its way: steepest %.2g dB a frame\n", steepest);
  assert_true(steepest <= step * (1.0 + 246.0 * 1.876 / 960.0));
  free(arena.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(ranges_hold_on_random_walks),
      cmocka_unit_test(bits_do_not_depend_on_blocks),
      cmocka_unit_test(moves_make_no_clicks),
      cmocka_unit_test(delays_of_gains_glide),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
