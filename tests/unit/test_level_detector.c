/* What the level detector reads: sines of any frequency at their level, without ripple. */
#include "common/dsp/level_detector.h"
#include "common/dsp/maths.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/limiter_signals.h"
#include "tests/unit/one_frame.h"

#include <math.h>
#include <stdio.h>

#define RATE 48000.0

enum { FRAMES = 9600 };

static void detector_new_at(PlanishLevelDetector *detector, PlanishArena *filling, double rate,
                            double hold)
{
  PlanishArena arena = planish_arena_counting();
  planish_level_detector_setup(detector, &arena, rate, 25.0);
  *filling = arena_for(arena);
  PlanishArena fill = *filling;
  planish_level_detector_setup(detector, &fill, rate, 25.0);
  planish_level_detector_reset(detector, hold);
}

static void detector_new(PlanishLevelDetector *detector, PlanishArena *filling, double hold)
{
  detector_new_at(detector, filling, RATE, hold);
}

typedef struct {
  double error;  /* of the level, largest */
  double ripple; /* largest less smallest */
} Reading;

static Reading read_sine(double hz, double phase, double hold, double share)
{
  PlanishLevelDetector detector;
  PlanishArena arena;
  detector_new(&detector, &arena, hold);
  double low = 1e9;
  double high = -1e9;
  for (int n = 0; n < FRAMES; ++n) {
    const double x = 0.25 * sin(2.0 * PLANISH_PI * hz / RATE * n + phase);
    const double level = next_levels(&detector, x, share).level;
    if (n >= FRAMES / 2) {
      low = fmin(low, level);
      high = fmax(high, level);
    }
  }
  free(arena.block);
  const double truth = 20.0 * log10(0.25);
  return (Reading){fmax(fabs(low - truth), fabs(high - truth)), high - low};
}

/* Tones that share no period with the rate, and those that meet few phases of it, which the largest
 * sample alone reads up to 3 dB low (10 kHz: 0.075). Goals: 0.02 dB, 0.001 dB of ripple. */
static void sines_read_their_level(void **state)
{
  (void)state;
  static const double tones[] = {24.0173, 41.2034, 50.0,    110.0473, 997.3111, 4186.009,
                                 9973.17, 10000.0, 12000.0, 16000.0,  19997.3};
  static const double shares[] = {0.0, 0.5, 1.0};
  for (size_t s = 0; s < 3; ++s) {
    Reading worst = {0};
    for (size_t i = 0; i < sizeof tones / sizeof *tones; ++i) {
      for (int p = 0; p < 6; ++p) {
        const Reading found = read_sine(tones[i], 0.1309 * p, 25.0, shares[s]);
        worst.error = fmax(worst.error, found.error);
        worst.ripple = fmax(worst.ripple, found.ripple);
      }
    }
    printf("mean share %.1f: worst error %.2g dB, worst ripple %.2g dB\n", shares[s], worst.error,
           worst.ripple);
    assert_true(worst.error <= 0.005);
    assert_true(worst.ripple <= 0.001);
  }
}

/* A quarter of the rate, met at 45 degrees: all magnitudes are equal, 3 dB under the peak. */
static void a_tone_without_a_largest_sample_reads_its_level(void **state)
{
  (void)state;
  PlanishLevelDetector detector;
  PlanishArena arena;
  detector_new(&detector, &arena, 12.5);
  double level = 0.0;
  for (int n = 0; n < FRAMES; ++n) {
    level = next_levels(&detector, n / 2 % 2 == 0 ? 0.25 : -0.25, 0.0).level;
  }
  const double expected = 20.0 * log10(0.25 * sqrt(2.0));
  printf("a quarter of the rate at 45 degrees: %.3f dB of %.3f\n", level, expected);
  assert_true(fabs(level - expected) <= 0.005);
  /* What stands still has no peaks between its frames. */
  for (int n = 0; n < FRAMES; ++n) {
    level = next_levels(&detector, 0.25, 0.0).level;
  }
  assert_true(fabs(level - 20.0 * log10(0.25)) <= 1e-9);
  free(arena.block);
}

/* The hold that a tone needs is half its period. */
static void a_hold_that_is_too_short_shows(void **state)
{
  (void)state;
  assert_true(read_sine(50.0, 0.0, 12.5, 0.5).ripple < 0.001);
  assert_true(read_sine(50.0, 0.0, 5.0, 0.0).ripple > 0.5);
  assert_true(read_sine(30.0, 0.0, 12.5, 1.0).ripple > 0.01);
}

/* The lowest tone of a hold, 40 Hz at 12.5 ms, where its half period is no whole number of frames:
 * peaks then come after 551 or 552 frames, one frame late. Held for 551, the level ripples. */
static void the_lowest_tone_is_held_at_any_rate(void **state)
{
  (void)state;
  const double rate = 44100.0;
  double worst = 0.0;
  for (int p = 0; p < 6; ++p) {
    PlanishLevelDetector detector;
    PlanishArena arena;
    detector_new_at(&detector, &arena, rate, 12.5);
    double low = 1e9;
    double high = -1e9;
    for (int n = 0; n < 5 * FRAMES; ++n) {
      const double x = sin(2.0 * PLANISH_PI * 40.0 / rate * n + 0.9 * p);
      const double level = next_levels(&detector, x, 0.0).level;
      low = n < FRAMES ? low : fmin(low, level);
      high = n < FRAMES ? high : fmax(high, level);
    }
    worst = fmax(worst, high - low);
    free(arena.block);
  }
  printf("40 Hz at 44.1 kHz, hold 12.5 ms: ripple %.2g dB\n", worst);
  assert_true(worst <= 1e-9);
}

/* Silence, then a constant of 4: after n frames the box of 2 h frames has the mean 16 n / 2 h, and
 * the smallest of the last h is that of n - h + 1 frames, or 16 / 2 h in the beginning. */
static void the_mean_fills_as_a_box_of_two_holds(void **state)
{
  (void)state;
  PlanishLevelDetector detector;
  PlanishArena arena;
  detector_new(&detector, &arena, 12.5);
  const double hold = 602.0;
  double worst = 0.0;
  for (int n = 1; n <= 2000; ++n) {
    const double level = next_levels(&detector, 4.0, 1.0).power;
    const double largest = fmin(n / (2.0 * hold), 1.0);
    const double smallest = fmin(fmax(n - hold + 1.0, 1.0) / (2.0 * hold), 1.0);
    const double expected = 10.0 * log10(16.0 * 0.5 * (largest + smallest));
    worst = fmax(worst, fabs(level - expected));
  }
  printf("a mean that fills, against the closed form: %.2g dB\n", worst);
  assert_true(worst <= 1e-9);
  free(arena.block);
}

/* A click, then a hold of 25 ms becomes one of 5 when the click is 10 ms old. The hold shrinks by
 * a frame a frame while the click ages by one: 1202 - n = 480 + n after 361 frames. */
static void a_shorter_hold_lets_go_little_by_little(void **state)
{
  (void)state;
  PlanishLevelDetector detector;
  PlanishArena arena;
  detector_new(&detector, &arena, 25.0);
  next_levels(&detector, 1.0, 0.0);
  for (int n = 1; n < 480; ++n) {
    next_levels(&detector, 0.0, 0.0);
  }
  planish_level_detector_set(&detector, 5.0);
  int held = 0;
  while (next_levels(&detector, 0.0, 0.0).level > -1.0) {
    ++held;
  }
  printf("a click of 10 ms, hold 25 to 5 ms: held for %d frames more\n", held);
  assert_true(abs(held - 361) <= 2);
  free(arena.block);
}

/* A step: peaks at once, the mean as its box fills; both fall after the hold. */
static void rises_and_falls_when_it_should(void **state)
{
  (void)state;
  enum { STEP = 4800 };
  PlanishLevelDetector detector;
  PlanishArena arena;
  detector_new(&detector, &arena, 12.5);
  int risen = 0;
  int mean_risen = 0;
  int fallen = 0;
  for (int n = 0; n < 4 * STEP; ++n) {
    const double height = n >= STEP && n < 2 * STEP ? 0.5 : 0.05;
    const double x = height * sin(2.0 * PLANISH_PI * 1000.0 / RATE * n);
    const Levels levels = next_levels(&detector, x, 0.0);
    risen = risen == 0 && n >= STEP && levels.level > -6.03 ? n - STEP : risen;
    mean_risen = mean_risen == 0 && n >= STEP && levels.power > -9.05 ? n - STEP : mean_risen;
    fallen = fallen == 0 && n >= 2 * STEP && levels.level < -26.0 ? n - 2 * STEP : fallen;
  }
  printf("peaks rise in %d frames, fall after %d; the mean stands after %d\n", risen, fallen,
         mean_risen);
  assert_true(risen <= 14);
  assert_true(fallen >= 570 && fallen <= 602);
  assert_true(mean_risen >= 1190 && mean_risen <= 1810);
  free(arena.block);
}

/* Whatever the hold does on its way, the box holds whole numbers and loses none of them. */
static void the_box_survives_moving_holds(void **state)
{
  (void)state;
  PlanishLevelDetector detector;
  PlanishArena arena;
  detector_new(&detector, &arena, 12.5);
  for (int n = 0; n < 40 * FRAMES; ++n) {
    if (n % 777 == 0) {
      planish_level_detector_set(&detector, 5.0 + (n / 777 * 7) % 21);
    }
    const double x = n < 39 * FRAMES ? ((n % 1000 * 919) % 1000) * 1e-3 : 0.0;
    next_levels(&detector, x, 0.5);
  }
  assert_true(detector.mean_square.sum == 0);
  assert_true(next_levels(&detector, 0.0, 0.5).level <= PLANISH_LEVEL_FLOOR_DB + 3.1);
  free(arena.block);
}

/* White noise of -20 dB reads -20 dB of power. */
static void noise_reads_its_power(void **state)
{
  (void)state;
  PlanishLevelDetector detector;
  PlanishArena arena;
  detector_new(&detector, &arena, 25.0);
  uint64_t seed = 3;
  double sum = 0.0;
  for (int n = 0; n < 20 * FRAMES; ++n) {
    seed = seed * 6364136223846793005u + 1442695040888963407u;
    const double x = 0.2 * sqrt(3.0) * ((double)(seed >> 11) / 9007199254740992.0 - 0.5);
    sum += n < FRAMES ? 0.0 : next_levels(&detector, x, 0.5).power;
  }
  const double mean = sum / (19 * FRAMES);
  printf("noise of -20 dB reads %.3f dB\n", mean);
  assert_true(fabs(mean + 20.0) < 0.1);
  free(arena.block);
}

/* As held_envelope.h has it. */
static double power_between(const double x[3])
{
  const double power = x[1] * x[1];
  if (fabs(x[1]) < fabs(x[2]) || fabs(x[1]) < fabs(x[0])) {
    return x[2] * x[2];
  }
  const double across = (x[2] - x[0]) * (x[2] - x[0]);
  const double under = 4.0 * power - (x[0] + x[2]) * (x[0] + x[2]);
  /* Never more than 3 dB. */
  return across < under ? power * (1.0 + across / under) : (under > 0.0 ? 2.0 * power : power);
}

/* Blocks against frames, and, where nothing is held, against the formula. */
static void envelopes_of_blocks_are_as_frames(void **state)
{
  (void)state;
  enum { BLOCKS, FRAMES_ALONE, NOT_HELD, ENVELOPES };
  PlanishHeldEnvelope envelope[ENVELOPES];
  PlanishArena arena = planish_arena_counting();
  for (int i = 0; i < ENVELOPES; ++i) {
    planish_held_envelope_setup(&envelope[i], &arena, 700);
  }
  arena = arena_for(arena);
  void *const block = arena.block;
  for (int i = 0; i < ENVELOPES; ++i) {
    planish_held_envelope_setup(&envelope[i], &arena, 700);
  }
  uint64_t seed = 10;
  double three[3] = {0.0};
  for (int round = 0; round < 4000; ++round) {
    double x[PLANISH_GRID];
    double power[PLANISH_GRID];
    const uint32_t frames = 1 + signal_random(&seed) % PLANISH_GRID;
    const uint32_t hold = round % 50 == 0 ? 1 + signal_random(&seed) % 700 : 600;
    for (uint32_t i = 0; i < frames; ++i) {
      /* Equal neighbours, zeros, and all between. */
      x[i] = round % 3 == 0 ? (double)(signal_random(&seed) % 3) - 1.0 : signal_uniform(&seed);
    }
    planish_held_envelope_process(&envelope[BLOCKS], x, power, frames, hold);
    for (uint32_t i = 0; i < frames; ++i) {
      assert_true(power[i] == next_envelope(&envelope[FRAMES_ALONE], x[i], hold));
    }
    planish_held_envelope_process(&envelope[NOT_HELD], x, power, frames, 1);
    for (uint32_t i = 0; i < frames; ++i) {
      three[0] = three[1];
      three[1] = three[2];
      three[2] = x[i];
      assert_true(power[i] == power_between(three));
    }
  }
  free(block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(envelopes_of_blocks_are_as_frames),
      cmocka_unit_test(sines_read_their_level),
      cmocka_unit_test(a_tone_without_a_largest_sample_reads_its_level),
      cmocka_unit_test(a_hold_that_is_too_short_shows),
      cmocka_unit_test(the_lowest_tone_is_held_at_any_rate),
      cmocka_unit_test(the_mean_fills_as_a_box_of_two_holds),
      cmocka_unit_test(a_shorter_hold_lets_go_little_by_little),
      cmocka_unit_test(rises_and_falls_when_it_should),
      cmocka_unit_test(the_box_survives_moving_holds),
      cmocka_unit_test(noise_reads_its_power),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
