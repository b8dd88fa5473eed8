/* What limiting does to low notes: everything in the result that is not the tone itself, harmonics,
 * sidebands and settling alike, in dB re the tone. */
#include "tests/unit/limiter_fixture.h"
#include "tests/unit/tone_fit.h"

#include <math.h>
#include <stdio.h>

#define RATE 48000.0

static double gain(double db)
{
  return pow(10.0, db / 20.0);
}

/* What the limiter must be better than: the same detector, maximum and window, but a plain one-pole
 * release. */
static void run_one_pole(double *x, size_t frames, double release_ms, double ceiling)
{
  enum { LOOKAHEAD = 96 };
  PlanishTruePeak detector;
  PlanishSlidingMax max;
  PlanishBoxWindow window;
  PlanishArena arena = planish_arena_counting();
  for (int pass = 0; pass < 2; ++pass) {
    planish_true_peak_setup(&detector, &arena, PLANISH_TRUE_PEAK_TAPS);
    planish_sliding_max_setup(&max, &arena, LOOKAHEAD);
    planish_box_window_setup(&window, &arena, LOOKAHEAD);
    arena = pass == 0 ? arena_for(arena) : arena;
  }
  planish_box_window_reset(&window, LOOKAHEAD);
  const size_t latency = PLANISH_TRUE_PEAK_TAPS / 2 + LOOKAHEAD - 1;
  const double keep = exp(-1000.0 / (release_ms * RATE));
  double *delayed = calloc(frames + latency, sizeof(double));
  memcpy(delayed + latency, x, frames * sizeof(double));
  double reduction = 0.0;
  for (size_t n = 0; n < frames; ++n) {
    double peak;
    planish_true_peak_process(&detector, x + n, &peak, 1);
    const double need = fmax(0.0, planish_level_of(peak) - ceiling);
    reduction = fmax(planish_sliding_max_next(&max, need, LOOKAHEAD), reduction * keep);
    double smooth = reduction;
    planish_box_window_process(&window, &smooth, 1);
    x[n] = delayed[n] * planish_gain_of(-smooth);
  }
  free(delayed);
  free(arena.block);
}

typedef enum { FULL, FAST_PART_NOT_HELD, ONE_POLE } Release;

/* `over` dB over the ceiling. FAST_PART_NOT_HELD: no hold at all beyond the look-ahead. */
static void run(double *x, size_t frames, Release release, double release_ms)
{
  if (release == ONE_POLE) {
    run_one_pole(x, frames, release_ms, -1.0);
    return;
  }
  LimiterFixture *f = limiter_fixture_new(RATE);
  f->settings.hold = release == FULL ? 12.5 : 0.0;
  limiter_fixture_run(f, &x, 1, frames);
  limiter_fixture_free(f);
}

static double settled(double hz, double over, Release release, double release_ms)
{
  enum { FRAMES = 4 * 48000, WINDOW = 48000 };
  double *x = malloc(FRAMES * sizeof(double));
  for (size_t n = 0; n < FRAMES; ++n) {
    const double fade_in = planish_smoothstep((double)n / 480.0);
    x[n] = fade_in * gain(over - 1.0) * sin(2.0 * PLANISH_PI * hz / RATE * (double)n);
  }
  run(x, FRAMES, release, release_ms);
  const double result = tone_fit(x + FRAMES - WINDOW, WINDOW, hz, RATE).rest_db;
  free(x);
  return result;
}

/* Notes of 400 ms with 100 ms of silence between, 3 dB over; 100..360 ms into the note, the worst
 * of the last four of ten. */
static double within_notes(double hz, Release release)
{
  enum { PERIOD = 24000, ON = 19200, NOTES = 10, FROM = 4800, WINDOW = 12480 };
  double *x = malloc((size_t)PERIOD * NOTES * sizeof(double));
  for (size_t n = 0; n < (size_t)PERIOD * NOTES; ++n) {
    const double at = (double)(n % PERIOD);
    const double edges = planish_smoothstep(at / 240.0) * planish_smoothstep((ON - at) / 240.0);
    x[n] = edges * gain(2.0) * sin(2.0 * PLANISH_PI * hz / RATE * (double)n);
  }
  run(x, (size_t)PERIOD * NOTES, release, 60.0);
  const size_t latency = PLANISH_TRUE_PEAK_TAPS / 2 + (release == ONE_POLE ? 95 : 239);
  double worst = -400.0;
  for (size_t note = NOTES - 4; note < NOTES; ++note) {
    const double *start = x + note * PERIOD + FROM + latency;
    worst = fmax(worst, tone_fit(start, WINDOW, hz, RATE).rest_db);
  }
  free(x);
  return worst;
}

/* Goal: -120 dB. A one-pole release gives -32 to -49 dB and must not pass. */
static void settled_tones_are_clean(void **state)
{
  (void)state;
  static const double overs[] = {0.5, 1.0, 3.0};
  for (size_t i = 0; i < 3; ++i) {
    const double found = settled(50.0, overs[i], FULL, 0.0);
    printf("distortion, 50 Hz, %.1f dB over, settled: %.1f dB\n", overs[i], found);
    assert_true(found <= -120.0);
  }
  static const double releases[] = {20.0, 60.0, 200.0};
  for (size_t i = 0; i < 3; ++i) {
    const double found = settled(50.0, 3.0, ONE_POLE, releases[i]);
    printf("  the same, one-pole release of %.0f ms: %.1f dB\n", releases[i], found);
    assert_true(found > -60.0 && found < -25.0);
  }
}

/* Whole-hertz tones share a period with the rate and flatter a hold; these do not. */
static void so_are_tones_that_share_no_period_with_the_rate(void **state)
{
  (void)state;
  static const double tones[] = {41.2034, 61.7354, 110.0473, 997.3111, 4186.009, 9973.17};
  for (size_t i = 0; i < sizeof tones / sizeof *tones; ++i) {
    const double found = settled(tones[i], 3.0, FULL, 0.0);
    printf("distortion, %.3f Hz, 3 dB over, settled: %.1f dB\n", tones[i], found);
    assert_true(found <= -90.0);
  }
}

/* Goal: -100 dB. Without the hold on the fast part it is no better than a one-pole release. */
static void so_are_notes(void **state)
{
  (void)state;
  static const double tones[] = {41.2, 50.0};
  for (size_t i = 0; i < 2; ++i) {
    const double full = within_notes(tones[i], FULL);
    const double bare = within_notes(tones[i], FAST_PART_NOT_HELD);
    const double one_pole = within_notes(tones[i], ONE_POLE);
    printf("distortion within notes, %.1f Hz: %.1f dB; not held %.1f, one-pole 60 ms %.1f\n",
           tones[i], full, bare, one_pole);
    assert_true(full <= -100.0);
    assert_true(bare > -60.0);
    assert_true(one_pole > -60.0);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(settled_tones_are_clean),
      cmocka_unit_test(so_are_tones_that_share_no_period_with_the_rate),
      cmocka_unit_test(so_are_notes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
