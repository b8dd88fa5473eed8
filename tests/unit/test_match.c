/* The match of loudness by itself: what it hears, when, and what it leaves alone. */
#include "common/dsp/maths.h"
#include "common/frame/match.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000, LATENCY = 4096 };

typedef struct {
  PlanishMatch match;
  void *block;
  uint32_t frame;
  uint32_t noise;
} Fixture;

static void make(Fixture *f, PlanishMatchMode mode)
{
  *f = (Fixture){.noise = 1};
  PlanishArena arena = planish_arena_counting();
  planish_match_setup(&f->match, &arena, RATE);
  arena = arena_for(arena);
  f->block = arena.block;
  planish_match_setup(&f->match, &arena, RATE);
  planish_match_reset(&f->match);
  planish_match_set_mode(&f->match, mode);
}

static void assert_near(double value, double expected, double within)
{
  if (!(fabs(value - expected) <= within)) {
    printf("  %g instead of %g\n", value, expected);
  }
  assert_true(fabs(value - expected) <= within);
}

/* White noise within +-1 at `level` dB, its result louder by `gain` dB in the left channel and
 * `right_gain` in the right, for `ms`. */
static double run_apart(Fixture *f, double level, double gain, double right_gain, double ms)
{
  const double gains[2] = {planish_gain_of(gain), planish_gain_of(right_gain)};
  for (uint32_t done = 0; done < planish_frames_of(ms, RATE); done += PLANISH_GRID) {
    double input[2][PLANISH_GRID];
    double result[2][PLANISH_GRID];
    for (int i = 0; i < PLANISH_GRID; ++i) {
      for (int c = 0; c < 2; ++c) {
        f->noise = f->noise * 1664525u + 1013904223u; /* Knuth, TAOCP vol. 2, 3.3.4 */
        input[c][i] = planish_gain_of(level) * ((double)f->noise / 2147483648.0 - 1.0);
        result[c][i] = input[c][i] * gains[c];
      }
    }
    planish_match_process(&f->match, (const double *const[2]){input[0], input[1]},
                          (double *const[2]){result[0], result[1]}, PLANISH_GRID);
  }
  return planish_match_gain(&f->match);
}

static double run(Fixture *f, double level, double gain, double ms)
{
  return run_apart(f, level, gain, gain, ms);
}

static void both_channels_count(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_FOLLOW);
  /* Equal powers in: the loudness rises by that of the mean power. */
  const double expected = -10.0 * log10(0.5 * (1.0 + pow(10.0, 0.6)));
  assert_near(run_apart(&f, -20.0, 0.0, 6.0, 4000.0), expected, 0.05);
  free(f.block);
}

/* The result follows a control by the latency: what is heard before belongs to neither. */
static void a_late_result_is_waited_for(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_FOLLOW);
  run(&f, -20.0, 0.0, 4000.0);
  planish_match_restart(&f.match, LATENCY);
  run(&f, -20.0, 0.0, 1000.0 * LATENCY / RATE);
  /* 30 ms for the control's glide, 100 ms of window, 20 ms for the gain's. */
  assert_near(run(&f, -20.0, 5.0, 155.0), -5.0, 0.02);
  free(f.block);
}

static void a_stage_that_was_reset_is_waited_for(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_FOLLOW);
  run(&f, -20.0, 0.0, 4000.0);
  planish_match_restart(&f.match, LATENCY);
  run(&f, -20.0, 0.0, 120.0);
  planish_match_discard(&f.match, LATENCY);
  /* Nothing comes out while it fills. */
  double farthest = 0.0;
  for (double ms = 0.0; ms < 1000.0 * LATENCY / RATE; ms += 2.0) {
    farthest = fmax(farthest, fabs(run(&f, -20.0, -200.0, 2.0)));
  }
  for (double ms = 0.0; ms < 500.0; ms += 2.0) {
    farthest = fmax(farthest, fabs(run(&f, -20.0, 0.0, 2.0)));
  }
  assert_true(farthest < 0.02);
  free(f.block);
}

/* Under a control that never rests a first result still comes, and the last one soon after. */
static void a_restless_control_is_followed(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_FOLLOW);
  run(&f, -20.0, 0.0, 4000.0);
  double gain = 0.0;
  double behind = 0.0;
  for (int i = 1; i <= 100; ++i) {
    planish_match_restart(&f.match, 0);
    gain = run(&f, -20.0, 0.06 * i, 10.0);
    behind = fmax(behind, fabs(gain + 0.06 * i));
  }
  printf("  6 dB in a second: behind by %.2f dB at most\n", behind);
  assert_true(behind <= 1.6);
  assert_near(run(&f, -20.0, 6.0, 500.0), -6.0, 0.1);
  free(f.block);
}

static void quiet_input_moves_nothing(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_FOLLOW);
  assert_near(run(&f, -20.0, 4.0, 4000.0), -4.0, 0.01);
  const double found = run(&f, -80.0, 4.0, 2000.0);
  planish_match_restart(&f.match, 0);
  assert_true(run(&f, -80.0, -8.0, 4000.0) == found);
  free(f.block);
  /* 2 dB under and over -60 LUFS. The mean square of even noise within +-1 is 1/3. */
  const PlanishKWeightingCoefs coefs = planish_k_weighting_design(RATE);
  double power = 0.0;
  for (int k = 0; k < 1000; ++k) {
    power += planish_k_weighting_power(&coefs, (k + 0.5) / 2000.0) / 1000.0;
  }
  const double loudness = -0.691 + 10.0 * log10(2.0 * power / 3.0); /* BS.1770-4, equation 2 */
  for (int above = 0; above < 2; ++above) {
    make(&f, PLANISH_MATCH_FOLLOW);
    const double gain = run(&f, (above ? -58.0 : -62.0) - loudness, 4.0, 2000.0);
    assert_near(gain, above ? -4.0 : 0.0, above ? 0.1 : 0.0);
    free(f.block);
  }
}

static void the_gain_is_bounded(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_FOLLOW);
  assert_true(run(&f, -20.0, 60.0, 1000.0) == -24.0);
  planish_match_restart(&f.match, 0);
  assert_true(run(&f, -20.0, -60.0, 1000.0) == 24.0);
  free(f.block);
}

/* From off, `hold` listens for 3 s; from `follow` it has its gain at once, unless a control was
 * only just moved. */
static void hold_holds(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_HOLD);
  run(&f, -20.0, 2.0, 2000.0);
  run(&f, -20.0, 3.0, 1300.0);
  double held = planish_match_gain(&f.match);
  assert_true(held < -2.0 && held > -3.0);
  planish_match_restart(&f.match, 0);
  assert_true(run(&f, -20.0, 9.0, 4000.0) == held);

  planish_match_set_mode(&f.match, PLANISH_MATCH_FOLLOW);
  assert_near(run(&f, -20.0, 9.0, 1000.0), -9.0, 0.02);
  planish_match_set_mode(&f.match, PLANISH_MATCH_HOLD);
  held = run(&f, -20.0, 0.0, 30.0);
  assert_true(run(&f, -20.0, 0.0, 4000.0) == held);

  planish_match_set_mode(&f.match, PLANISH_MATCH_FOLLOW);
  run(&f, -20.0, 0.0, 1000.0);
  planish_match_restart(&f.match, 0);
  run(&f, -20.0, 5.0, 50.0);
  planish_match_set_mode(&f.match, PLANISH_MATCH_HOLD);
  assert_near(run(&f, -20.0, 5.0, 4000.0), -5.0, 0.05);
  free(f.block);
}

/* A change of level that no control made is followed over 3 s. */
static void music_is_followed_slowly(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_FOLLOW);
  run(&f, -20.0, 0.0, 10000.0);
  const double after_300_ms = run(&f, -20.0, 3.0, 300.0);
  /* 1 - exp(-0.1) of the way of the power. */
  assert_near(after_300_ms, -10.0 * log10(1.0 + 0.0952 * (pow(10.0, 0.3) - 1.0)), 0.05);
  assert_true(run(&f, -20.0, 3.0, 10000.0) < -2.8);
  free(f.block);
}

/* What a window held counts nothing in the next, whatever its size. */
static void windows_begin_empty(void **state)
{
  (void)state;
  Fixture loud;
  Fixture fresh;
  make(&loud, PLANISH_MATCH_FOLLOW);
  run(&loud, 120.0, 3.0, 1000.0);
  planish_match_reset(&loud.match);
  planish_match_set_mode(&loud.match, PLANISH_MATCH_FOLLOW);
  loud.noise = 1;
  make(&fresh, PLANISH_MATCH_FOLLOW);
  assert_true(run(&loud, -30.0, 3.0, 400.0) == run(&fresh, -30.0, 3.0, 400.0));
  free(loud.block);
  free(fresh.block);
}

/* 997 Hz in both channels: a full-scale sine reads 0.0 LUFS (BS.1770-4 Annex 1: -3.01 in one). */
static void the_loudness_of_both_is_read(void **state)
{
  (void)state;
  Fixture f;
  make(&f, PLANISH_MATCH_HOLD);
  double at[2][2] = {{0.0}};
  for (uint32_t n = 0; n < 12 * RATE; n += PLANISH_GRID) {
    double input[2][PLANISH_GRID];
    double result[2][PLANISH_GRID];
    const double level = n < 6 * RATE ? -20.0 : -26.0;
    for (uint32_t i = 0; i < PLANISH_GRID; ++i) {
      const double x = planish_gain_of(level) * sin(2.0 * PLANISH_PI * 997.0 / RATE * (n + i));
      input[0][i] = input[1][i] = x;
      result[0][i] = result[1][i] = planish_gain_of(6.0) * x;
    }
    planish_match_process(&f.match, (const double *const[2]){input[0], input[1]},
                          (double *const[2]){result[0], result[1]}, PLANISH_GRID);
    const int when = n < 6 * RATE ? 0 : 1;
    at[when][0] = planish_match_loudness(&f.match, 0);
    at[when][1] = planish_match_loudness(&f.match, 1);
  }
  printf("-20: %.3f and %.3f LUFS; 6 s after a fall by 6 dB, its gain held: %.2f and %.2f LUFS\n",
         at[0][0], at[0][1], at[1][0], at[1][1]);
  assert_near(at[0][0], -20.0, 0.02);
  assert_near(at[0][1], -14.0, 0.02);
  /* One pole of 3 s: e^-2 of the step in power is left. */
  const double left = exp(-2.0);
  assert_near(at[1][0], -26.0 + 10.0 * log10(1.0 + left * (pow(10.0, 0.6) - 1.0)), 0.02);
  planish_match_set_mode(&f.match, PLANISH_MATCH_OFF);
  assert_true(planish_match_loudness(&f.match, 1) == PLANISH_MATCH_NOTHING);
  free(f.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_loudness_of_both_is_read),
      cmocka_unit_test(both_channels_count),
      cmocka_unit_test(a_late_result_is_waited_for),
      cmocka_unit_test(a_stage_that_was_reset_is_waited_for),
      cmocka_unit_test(a_restless_control_is_followed),
      cmocka_unit_test(quiet_input_moves_nothing),
      cmocka_unit_test(the_gain_is_bounded),
      cmocka_unit_test(hold_holds),
      cmocka_unit_test(music_is_followed_slowly),
      cmocka_unit_test(windows_begin_empty),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
