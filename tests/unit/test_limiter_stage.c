/* The limiter stage as the frame drives it. */
#include "tests/unit/limiter_signals.h"
#include "tests/unit/stage_driver.h"
#include "ttl/limiter_ports.h"

#include <stdio.h>

#define RATE 48000.0

enum { FRAMES = 48000, TAIL = 1024 };

static double gain(double db)
{
  return pow(10.0, db / 20.0);
}

static double *music(size_t frames, double peak_db)
{
  double *x = calloc(frames, sizeof(double));
  signal_music(x, frames - TAIL, RATE);
  const double level = gain(peak_db - reconstruct_peak_db(x, frames));
  for (size_t n = 0; n < frames; ++n) {
    x[n] *= level;
  }
  return x;
}

static void run(StageDriver *driver, double *left, double *right, size_t frames)
{
  double *const out[2] = {left, right};
  const double *const in[2] = {left, right};
  stage_driver_run(driver, in, out, right ? 2 : 1, frames);
}

/* No control moves it: the largest look-ahead, less a frame, and half the detector. */
static void latency_depends_on_the_rate_alone(void **state)
{
  (void)state;
  float values[LIMITER_PORT_COUNT] = {0};
  values[LIMITER_LOOKAHEAD] = 1.0F;
  assert_int_equal(planish_stage.latency(48000.0, NULL), 48 + 240 - 1);
  assert_int_equal(planish_stage.latency(48000.0, values), 48 + 240 - 1);
  values[LIMITER_LOOKAHEAD] = 5.0F;
  assert_int_equal(planish_stage.latency(44100.0, values), 48 + 221 - 1);
}

static void bit_exact_at_neutral(void **state)
{
  (void)state;
  StageDriver driver;
  double *source = music(FRAMES, -1.1);
  double *x = music(FRAMES, -1.1);
  double *reference = calloc(FRAMES, sizeof(double));
  const uint32_t latency = planish_stage.latency(RATE, NULL);
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.reference[0] = reference;
  run(&driver, x, NULL, FRAMES);
  assert_memory_equal(x + latency, source, (FRAMES - latency) * sizeof(double));
  assert_memory_equal(reference + latency, source, (FRAMES - latency) * sizeof(double));
  assert_true(driver.values[LIMITER_REDUCTION] == 0.0F);
  assert_true(fabs((double)driver.values[LIMITER_TRUE_PEAK] + 1.1) < 0.05);
  stage_driver_free(&driver);
  free(source);
  free(x);
  free(reference);
}

static void the_reference_is_the_input_at_its_plain_gain(void **state)
{
  (void)state;
  StageDriver driver;
  double *source = music(FRAMES, -1.1);
  double *x = music(FRAMES, -1.1);
  double *reference = calloc(FRAMES, sizeof(double));
  const uint32_t latency = planish_stage.latency(RATE, NULL);
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.reference[0] = reference;
  driver.values[LIMITER_INPUT_GAIN] = 6.0F;
  driver.values[LIMITER_QUIET_LIFT] = 3.0F;
  run(&driver, x, NULL, FRAMES);
  for (size_t n = latency; n < FRAMES; ++n) {
    assert_true(fabs(reference[n] - gain(6.0) * source[n - latency]) < 1e-12);
  }
  stage_driver_free(&driver);
  free(source);
  free(x);
  free(reference);
}

/* The reading of the result, against reconstruction; and its hold of a second. */
static void reports_what_it_does(void **state)
{
  (void)state;
  enum { SILENCE = 40000 };
  StageDriver driver;
  double *x = calloc(2 * FRAMES + SILENCE, sizeof(double));
  double *loud = music(FRAMES, 2.0);
  memcpy(x, loud, FRAMES * sizeof(double));
  stage_driver_new(&driver, &planish_stage, RATE);
  run(&driver, x, NULL, FRAMES);
  const double truth = reconstruct_peak_db(x, FRAMES);
  printf("reading %.4f dBTP, reconstruction %.4f dBTP; reduction %.3f dB\n",
         (double)driver.values[LIMITER_TRUE_PEAK], truth, (double)driver.values[LIMITER_REDUCTION]);
  assert_true(fabs((double)driver.values[LIMITER_TRUE_PEAK] - truth) < 0.05);
  assert_true(fabs((double)driver.values[LIMITER_REDUCTION] - 3.02) < 0.05);
  run(&driver, x + FRAMES, NULL, SILENCE);
  assert_true(driver.values[LIMITER_TRUE_PEAK] > -6.0F);
  run(&driver, x + FRAMES + SILENCE, NULL, FRAMES);
  assert_true(driver.values[LIMITER_TRUE_PEAK] == -120.0F);
  stage_driver_free(&driver);
  free(loud);
  free(x);
}

/* Everything moves at once, and the gain with it; the same bits for any blocks. */
static double *automated(uint32_t block_limit, double *reported)
{
  enum { STEP = 10 * PLANISH_GRID };
  StageDriver driver;
  double *x = music(FRAMES, 3.0);
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.block_limit = block_limit;
  for (size_t at = 0; at < FRAMES; at += STEP) {
    const size_t step = at / STEP;
    driver.values[LIMITER_INPUT_GAIN] = (float)(step % 5) * 3.0F - 6.0F;
    driver.values[LIMITER_CEILING] = step % 3 ? -1.0F : -3.0F;
    driver.values[LIMITER_LOOKAHEAD] = 1.0F + (float)(step / 20 % 5);
    driver.values[LIMITER_SLOW_SHARE] = step % 7 < 3 ? 0.0F : 100.0F;
    driver.values[LIMITER_QUIET_LIFT] = step / 30 % 2 ? 0.0F : 4.0F;
    run(&driver, x + at, NULL, STEP);
  }
  *reported = (double)driver.values[LIMITER_REDUCTION];
  stage_driver_free(&driver);
  return x;
}

static void bits_do_not_depend_on_blocks(void **state)
{
  (void)state;
  double reported[2];
  double *whole = automated(PLANISH_GRID, reported);
  double *parts = automated(5, reported + 1);
  assert_memory_equal(whole, parts, FRAMES * sizeof(double));
  assert_true(reported[0] == reported[1]);
  free(whole);
  free(parts);
}

/* The gain curve of a stereo run under music, read off a small constant on the right that takes the
 * left's gain. Returns the largest change of slope in dB a frame, a frame; a click is a large one.
 */
static double sharpest_bend(bool moving)
{
  StageDriver driver;
  double *left = music(FRAMES, 4.0);
  double *right = malloc(FRAMES * sizeof(double));
  for (size_t n = 0; n < FRAMES; ++n) {
    right[n] = 1e-3;
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  for (size_t at = 0; at < FRAMES; at += 960) {
    const size_t step = moving ? at / 960 : 0;
    driver.values[LIMITER_LOOKAHEAD] = 2.0F + (float)(step / 4 % 4);
    driver.values[LIMITER_HOLD] = step % 3 ? 12.5F : 30.0F;
    driver.values[LIMITER_SLOW_SHARE] = step % 4 < 2 ? 100.0F : 20.0F;
    driver.values[LIMITER_RELEASE] = step % 5 ? 20.0F : 100.0F;
    driver.values[LIMITER_CEILING] = step % 7 < 4 ? -1.0F : -2.0F;
    run(&driver, left + at, right + at, 960);
  }
  double sharpest = 0.0;
  for (size_t n = 1000; n + 2 < FRAMES; ++n) {
    const double bend = log10(right[n]) - 2.0 * log10(right[n + 1]) + log10(right[n + 2]);
    sharpest = fmax(sharpest, 20.0 * fabs(bend));
  }
  stage_driver_free(&driver);
  free(left);
  free(right);
  return sharpest;
}

/* What moving adds is no sharper than what music does to the gain by itself. */
static void moves_make_no_clicks(void **state)
{
  (void)state;
  const double still = sharpest_bend(false);
  const double moving = sharpest_bend(true);
  printf("sharpest bend of the gain: %.6f dB a frame, a frame; controls moving: %.6f\n", still,
         moving);
  assert_true(moving <= 1.5 * still);
}

/* A tone on the left, 3 dB over, whose gain is read off a small constant on the right. */
static void settle(StageDriver *driver, double *left, double *right, size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    left[n] = gain(2.0) * sin(2.0 * PLANISH_PI * 41.2 / RATE * (double)n);
    right[n] = 1e-3;
  }
  stage_driver_new(driver, &planish_stage, RATE);
  driver->values[LIMITER_LOOKAHEAD] = 1.0F;
}

/* The path that takes over has held, let go and smoothed what the one in use has: a gain that
 * stands still goes on standing still. */
static void a_new_lookahead_leaves_a_settled_gain_alone(void **state)
{
  (void)state;
  enum { SETTLED = 4 * 48000, STEP = 9600, STEPS = 6, ALL = SETTLED + STEPS * STEP };
  static const float lookaheads[STEPS] = {5.0F, 2.0F, 4.0F, 1.0F, 3.0F, 5.0F};
  StageDriver driver;
  double *left = malloc(ALL * sizeof(double));
  double *right = malloc(ALL * sizeof(double));
  settle(&driver, left, right, ALL);
  run(&driver, left, right, SETTLED);
  for (size_t i = 0; i < STEPS; ++i) {
    const size_t at = SETTLED + i * STEP;
    driver.values[LIMITER_LOOKAHEAD] = lookaheads[i];
    run(&driver, left + at, right + at, STEP);
  }
  double most = 0.0;
  for (size_t n = SETTLED; n < ALL; ++n) {
    most = fmax(most, fabs(20.0 * log10(right[n] / right[SETTLED - 1])));
  }
  printf("look-ahead moved under a settled tone: the gain moves by %.6f dB\n", most);
  assert_true(most <= 0.001);
  stage_driver_free(&driver);
  free(left);
  free(right);
}

/* The share of the left's reduction that the right gets, in dB, is what the port says; so is the
 * share of the slow part, which a new look-ahead takes over. */
static void link_and_slow_share_are_what_their_ports_say(void **state)
{
  (void)state;
  enum { LENGTH = 4 * 48000, LATER = 48 * 60 };
  double *left = malloc(LENGTH * sizeof(double));
  double *right = malloc(LENGTH * sizeof(double));
  for (int half = 0; half <= 2; ++half) {
    StageDriver driver;
    settle(&driver, left, right, LENGTH);
    memset(left + LENGTH / 2, 0, LENGTH / 2 * sizeof(double));
    driver.values[LIMITER_LINK] = 50.0F * (float)half;
    driver.values[LIMITER_SLOW_SHARE] = 50.0F * (float)half;
    run(&driver, left, right, LENGTH / 2 - 9600);
    driver.values[LIMITER_LOOKAHEAD] = 2.0F;
    run(&driver, left + LENGTH / 2 - 9600, right + LENGTH / 2 - 9600, LENGTH / 2 + 9600);
    const size_t end = LENGTH / 2 + planish_stage.latency(RATE, NULL);
    const double settled = -20.0 * log10(right[end - 100] / 1e-3);
    printf("link %d %%: the right lower by %.4f dB\n", 50 * half, settled);
    assert_true(fabs(settled - 1.51 * half) < 0.005);
    /* 60 ms later the fast part (20 ms) has gone, and the slow part (600 ms up for 2 s, 200 ms
     * down) is still there; hold and look-ahead come off. */
    const double later = -20.0 * log10(right[end + LATER] / 1e-3);
    const double share = half > 0 ? later / settled : 0.0;
    printf("slow share %d %%: %.3f of it left after 60 ms\n", 50 * half, share);
    assert_true(half == 0 || fabs(share - (half == 2 ? 0.77 : 0.44)) < 0.03);
    stage_driver_free(&driver);
  }
  free(left);
  free(right);
}

/* A step of 12 dB under a bare tone, far below the ceiling. */
static void input_gain_glides(void **state)
{
  (void)state;
  StageDriver driver;
  double *x = malloc(FRAMES * sizeof(double));
  for (size_t n = 0; n < FRAMES; ++n) {
    x[n] = 0.01;
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  run(&driver, x, NULL, FRAMES / 2);
  driver.values[LIMITER_INPUT_GAIN] = 12.0F;
  run(&driver, x + FRAMES / 2, NULL, FRAMES / 2);
  double steepest = 0.0;
  for (size_t n = 1000; n + 1 < FRAMES; ++n) {
    steepest = fmax(steepest, fabs(20.0 * log10(x[n + 1] / x[n])));
  }
  printf("12 dB of input gain in 20 ms: steepest %.4f dB a frame\n", steepest);
  assert_true(steepest <= 2.1 * 12.0 / 960.0);
  assert_true(fabs(x[FRAMES - 1] - 0.01 * gain(12.0)) < 1e-9);
  stage_driver_free(&driver);
  free(x);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(latency_depends_on_the_rate_alone),
      cmocka_unit_test(bit_exact_at_neutral),
      cmocka_unit_test(the_reference_is_the_input_at_its_plain_gain),
      cmocka_unit_test(reports_what_it_does),
      cmocka_unit_test(bits_do_not_depend_on_blocks),
      cmocka_unit_test(moves_make_no_clicks),
      cmocka_unit_test(a_new_lookahead_leaves_a_settled_gain_alone),
      cmocka_unit_test(link_and_slow_share_are_what_their_ports_say),
      cmocka_unit_test(input_gain_glides),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
