/* Gains of blocks against the same worked out a frame at a time, and gains whose ranges have shrunk
 * since they were made. */
#include "common/dsp/channel_link.h"
#include "common/dsp/dynamic_gain.h"
#include "common/dsp/lift_floor.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/limiter_signals.h"
#include "tests/unit/one_frame.h"

#include <stdio.h>

#define RATE 48000.0

enum { FRAMES = 6000, LONGEST_BLOCK = PLANISH_GRID };

typedef struct {
  PlanishDynamicGain gain;
  void *block;
} Gain;

static Gain gain_new(double hold)
{
  Gain gain;
  PlanishArena arena = planish_arena_counting();
  planish_dynamic_gain_setup(&gain.gain, &arena, RATE, 25.0, true);
  arena = arena_for(arena);
  gain.block = arena.block;
  planish_dynamic_gain_setup(&gain.gain, &arena, RATE, 25.0, true);
  planish_dynamic_gain_reset(&gain.gain, hold);
  planish_level_detector_reset(&gain.gain.whole[0], hold);
  planish_level_detector_reset(&gain.gain.whole[1], hold);
  return gain;
}

/* Every sum and every curve by its own plain function. */
static PlanishGainPair plain(PlanishDynamicGain *gain, const PlanishGainLaw *law,
                             const PlanishGainTimes *times, const double *band, const double *whole,
                             uint32_t channels)
{
  PlanishGainPair gains = {0};
  Levels levels[2];
  for (uint32_t c = 0; c < channels; ++c) {
    levels[c] = next_levels(&gain->band[c], band[c], law->mean_share);
    if (law->relative > 0.0) {
      const double all = next_levels(&gain->whole[c], whole[c], law->mean_share).level;
      levels[c].level -= law->relative * planish_max(all, -80.0);
    }
  }
  if (channels == 2) {
    planish_link(&levels[0].level, &levels[1].level, law->link);
    planish_link(&levels[0].power, &levels[1].power, law->link);
  }
  for (uint32_t c = 0; c < channels; ++c) {
    PlanishGainParts target = planish_gain_curve_at(&law->curve, levels[c].level);
    if (target.below > 0.0) {
      target.below *= planish_lift_share(levels[c].power, law->lift_floor);
    }
    gains.channel[c] = planish_gain_smoother_next(&gain->smoother[c], times, target);
  }
  return gains;
}

/* Bursts over a floor, so that both sides of the curve work, and silence. */
static double sound(uint64_t *seed, int n)
{
  const double loud = n % 1500 < 300 ? 0.7 : 0.02;
  return n > FRAMES - 800 ? 0.0 : loud * signal_uniform(seed);
}

static void compare(const PlanishGainLaw *law, uint32_t channels, uint64_t seed)
{
  const PlanishGainTimes times = planish_gain_times(3.0, 40.0, RATE);
  Gain blocks = gain_new(12.5);
  Gain frames = gain_new(12.5);
  for (int n = 0; n < FRAMES;) {
    double band[2][LONGEST_BLOCK];
    double whole[2][LONGEST_BLOCK];
    PlanishGainPair gains[LONGEST_BLOCK];
    const uint32_t count = 1 + signal_random(&seed) % LONGEST_BLOCK;
    for (uint32_t i = 0; i < count; ++i) {
      for (int c = 0; c < 2; ++c) {
        band[c][i] = sound(&seed, n + (int)i) * (c + 1) / 2.0;
        whole[c][i] = band[c][i] + 0.1 * sound(&seed, n);
      }
    }
    if (n > FRAMES / 2) {
      planish_dynamic_gain_set_hold(&blocks.gain, 8.0);
      planish_dynamic_gain_set_hold(&frames.gain, 8.0);
      for (int c = 0; c < 2; ++c) {
        planish_level_detector_set(&frames.gain.whole[c], 8.0);
      }
    }
    planish_dynamic_gain_process(
        &blocks.gain, law, &times, (const double *const[2]){band[0], band[1]},
        (const double *const[2]){whole[0], whole[1]}, channels, gains, count);
    for (uint32_t i = 0; i < count; ++i) {
      const PlanishGainPair expected =
          plain(&frames.gain, law, &times, (double[]){band[0][i], band[1][i]},
                (double[]){whole[0][i], whole[1][i]}, channels);
      for (int c = 0; c < 2; ++c) {
        assert_true(gains[i].channel[c].above == expected.channel[c].above);
        assert_true(gains[i].channel[c].below == expected.channel[c].below);
      }
    }
    n += (int)count;
  }
  free(blocks.block);
  free(frames.block);
}

static void blocks_are_as_frames(void **state)
{
  (void)state;
  PlanishGainLaw law = {
      .curve = {.threshold = -20.0,
                .slope_above = 0.5,
                .knee = 6.0,
                .range_above = 4.0,
                .dead_band = 10.0,
                .slope_below = 0.4,
                .range_below = 3.0},
      .mean_share = 0.5,
      .link = 1.0,
      .lift_floor = -60.0,
  };
  compare(&law, 2, 1);
  compare(&law, 1, 2);
  law.link = 0.3;
  law.curve.slope_below = -0.7;
  compare(&law, 2, 3);
  law.relative = 1.0;
  law.curve.threshold = -3.0;
  law.curve.knee = 0.0;
  law.curve.range_below = 0.0;
  compare(&law, 2, 4);
}

static void each_way_keeps_to_its_range_of_now(void **state)
{
  (void)state;
  static const struct {
    PlanishGainParts parts;
    double range_above;
    double range_below;
    double gain;
  } rows[] = {
      {{0.0, 0.0}, 1.0, 1.0, 0.0},
      {{1.0, 0.0}, 1.5, 0.0, -1.0},
      {{3.0, 0.0}, 0.5, 6.0, -0.5}, /* a wide range below gives none above */
      {{0.0, 5.0}, 6.0, 1.0, 1.0},
      {{0.0, -5.0}, 6.0, 1.0, -1.0},
      {{3.0, 5.0}, 1.0, 2.0, 1.0},
      {{2.0, -2.0}, 2.0, 3.0, -3.0}, /* together no further down than the larger */
      {{2.0, -2.0}, 3.0, 2.0, -3.0},
      {{2.0, 2.0}, 0.0, 0.0, 0.0},
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; ++i) {
    const PlanishGainCurve curve = {.range_above = rows[i].range_above,
                                    .range_below = rows[i].range_below};
    const double gain = planish_gain_bounded(&rows[i].parts, &curve);
    if (gain != rows[i].gain) {
      print_error("row %zu: %g for %g\n", i, gain, rows[i].gain);
    }
    assert_true(gain == rows[i].gain);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(blocks_are_as_frames),
      cmocka_unit_test(each_way_keeps_to_its_range_of_now),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
