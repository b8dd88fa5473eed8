#include "common/dsp/maths.h"
#include "common/dsp/oversampler.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>

enum { TAPS = PLANISH_OVERSAMPLER_TAPS, MOST = TAPS * PLANISH_OVERSAMPLER_MAX_RATIO };

static const uint32_t ratios[] = {2, 4, 8, 16};
enum { RATIOS = sizeof ratios / sizeof *ratios };

typedef struct {
  PlanishOversampler filters;
  PlanishDecimator decimator;
  void *block;
} Fixture;

static Fixture make(uint32_t ratio, double shift)
{
  Fixture f = {0};
  PlanishArena arena = planish_arena_counting();
  planish_oversampler_setup(&f.filters, &arena, ratio, shift);
  planish_decimator_setup(&f.decimator, &arena);
  arena = arena_for(arena);
  f.block = arena.block;
  planish_oversampler_setup(&f.filters, &arena, ratio, shift);
  planish_decimator_setup(&f.decimator, &arena);
  planish_decimator_reset(&f.decimator);
  return f;
}

/* The interpolator's impulse response at the high rate, found by an impulse. */
static void response_up(const Fixture *f, double *response)
{
  for (int n = 0; n < TAPS; ++n) {
    double past[TAPS] = {0.0};
    past[TAPS - 1 - n] = 1.0;
    planish_oversampler_up(&f->filters, past, response + (size_t)n * f->filters.ratio);
  }
}

/* The decimator's, from one impulse in each phase. Its time runs backwards, which changes no
 * magnitude. */
static void response_down(Fixture *f, double *response)
{
  const uint32_t ratio = f->filters.ratio;
  for (uint32_t p = 0; p < ratio; ++p) {
    _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO] = {0.0};
    fine[p] = 1.0;
    planish_decimator_reset(&f->decimator);
    for (uint32_t n = 0; n < TAPS; ++n) {
      const double *given = n == 0 ? fine : NULL;
      response[n * ratio + (ratio - 1 - p)] =
          planish_decimator_process(&f->decimator, &f->filters, given);
    }
  }
}

/* Gain in dB at a frequency in units of the base rate. */
static double gain_at(const double *response, uint32_t ratio, double frequency)
{
  double re = 0.0;
  double im = 0.0;
  for (uint32_t n = 0; n < TAPS * ratio; ++n) {
    const double phase = 2.0 * PLANISH_PI * frequency * n / ratio;
    re += response[n] * cos(phase);
    im += response[n] * sin(phase);
  }
  return planish_level_of(sqrt(re * re + im * im));
}

typedef struct {
  double from, to; /* units of the base rate */
  double least, most;
} Mask;

/* At 44.1 kHz: flat to 16.8 kHz; what would fold back under 19.4 kHz is down by 93 dB. */
static const Mask masks[] = {{0.0, 0.38, -0.012, 0.001},
                             {0.38, 0.41, -0.3, 0.001},
                             {0.56, 1.0, -1e9, -93.0},
                             {1.0, 2.0, -1e9, -101.0}};

static void check_masks(const double *response, uint32_t ratio, const char *name)
{
  /* At twice the rate the last one lies beyond half of it; and evening out the sums of only two
   * phases costs half a decibel of depth. */
  const size_t count = sizeof masks / sizeof *masks - (ratio == 2 ? 1 : 0);
  const double less = ratio == 2 ? 0.5 : 0.0;
  for (size_t m = 0; m < count; ++m) {
    double least = 1e9;
    double most = -1e9;
    for (double f = masks[m].from; f <= masks[m].to; f += 0.0005) {
      const double gain = gain_at(response, ratio, f);
      least = planish_min(least, gain);
      most = planish_max(most, gain);
    }
    printf("%2ux %s, %.3f to %.3f of the rate: %.4f to %.4f dB\n", ratio, name, masks[m].from,
           masks[m].to, least, most);
    assert_true(most <= masks[m].most + less);
    assert_true(least >= masks[m].least);
  }
}

static void both_filters_keep_to_their_masks(void **state)
{
  (void)state;
  for (size_t r = 0; r < RATIOS; ++r) {
    double response[MOST];
    Fixture f = make(ratios[r], 0.0);
    response_up(&f, response);
    for (uint32_t n = 0; n < TAPS * ratios[r]; ++n) {
      response[n] /= ratios[r];
    }
    check_masks(response, ratios[r], "up");
    response_down(&f, response);
    check_masks(response, ratios[r], "down");
    free(f.block);
    f = make(ratios[r], -0.5);
    response_down(&f, response);
    check_masks(response, ratios[r], "down, shifted");
    free(f.block);
  }
}

static void a_constant_stays_what_it_was(void **state)
{
  (void)state;
  for (size_t r = 0; r < RATIOS; ++r) {
    Fixture f = make(ratios[r], -0.5);
    double past[TAPS];
    _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO];
    for (int n = 0; n < TAPS; ++n) {
      past[n] = 0.7;
    }
    planish_oversampler_up(&f.filters, past, fine);
    double worst = 0.0;
    for (uint32_t p = 0; p < ratios[r]; ++p) {
      worst = planish_max(worst, fabs(fine[p] - 0.7));
    }
    double back = 0.0;
    for (int n = 0; n < TAPS; ++n) {
      back = planish_decimator_process(&f.decimator, &f.filters, fine);
    }
    printf("%2ux: sum of each phase off by %.2g, of the decimator by %.2g\n", ratios[r], worst,
           fabs(back - 0.7));
    assert_true(worst < 2e-15);
    assert_true(fabs(back - 0.7) < 2e-15);
    free(f.block);
  }
}

/* The largest error of up and down against the sine PLANISH_OVERSAMPLER_DELAY frames ago, where
 * fine samples are handed down `lag` of their own samples late by taking the mean of neighbours. */
static double round_trip(uint32_t ratio, double shift, bool averaged, double frequency)
{
  Fixture f = make(ratio, shift);
  double past[TAPS] = {0.0};
  double last = 0.0;
  double worst = 0.0;
  for (int n = 0; n < 400; ++n) {
    _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO];
    memmove(past, past + 1, (TAPS - 1) * sizeof *past);
    past[TAPS - 1] = sin(2.0 * PLANISH_PI * frequency * n + 0.3);
    planish_oversampler_up(&f.filters, past, fine);
    for (uint32_t p = 0; averaged && p < ratio; ++p) {
      const double kept = fine[p];
      fine[p] = 0.5 * (fine[p] + last);
      last = kept;
    }
    const double y = planish_decimator_process(&f.decimator, &f.filters, fine);
    if (n >= 2 * TAPS) {
      const double x = sin(2.0 * PLANISH_PI * frequency * (n - PLANISH_OVERSAMPLER_DELAY) + 0.3);
      worst = planish_max(worst, fabs(y - x));
    }
  }
  free(f.block);
  return planish_level_of(worst);
}

static void up_and_down_is_a_whole_delay(void **state)
{
  (void)state;
  for (size_t r = 0; r < RATIOS; ++r) {
    const double plain = round_trip(ratios[r], 0.0, false, 0.1);
    /* First-order antiderivative antialiasing of the identity is the mean of two neighbours: half
     * a sample late (DAFx-16), and duller by cos(pi f / rate). */
    const double droop = planish_level_of(1.0 - cos(PLANISH_PI * 0.1 / ratios[r]));
    const double shifted = round_trip(ratios[r], -0.5, true, 0.1);
    const double unshifted = round_trip(ratios[r], 0.0, true, 0.1);
    printf("%2ux, sine at 0.1 of the rate: error %.1f dB; mean of two with shift %.1f (droop alone "
           "%.1f), without %.1f\n",
           ratios[r], plain, shifted, droop, unshifted);
    assert_true(plain < -85.0);
    assert_true(shifted < droop + 0.1);
    assert_true(unshifted > shifted + 15.0);
  }
}

static void the_peak_gain_bounds_every_fine_sample(void **state)
{
  (void)state;
  for (size_t r = 0; r < RATIOS; ++r) {
    Fixture f = make(ratios[r], 0.0);
    double largest = 0.0;
    for (uint32_t p = 0; p < ratios[r]; ++p) {
      double past[TAPS];
      _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO];
      for (uint32_t k = 0; k < TAPS; ++k) {
        past[k] = f.filters.up[k * ratios[r] + p] < 0.0 ? -1.0 : 1.0;
      }
      planish_oversampler_up(&f.filters, past, fine);
      largest = planish_max(largest, fine[p]);
    }
    printf("%2ux: worst input comes out %.4f times as large, bound %.4f\n", ratios[r], largest,
           f.filters.peak_gain);
    assert_true(largest <= f.filters.peak_gain);
    assert_true(largest > 0.999 * f.filters.peak_gain);
    free(f.block);
  }
}

static void zeros_left_out_change_no_bit(void **state)
{
  (void)state;
  uint32_t seed = 1;
  for (size_t r = 0; r < RATIOS; ++r) {
    Fixture f = make(ratios[r], -0.5);
    Fixture all = make(ratios[r], -0.5);
    for (int n = 0; n < 2000; ++n) {
      _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO] = {0.0};
      seed = seed * 1664525u + 1013904223u;
      const bool any = (seed >> 24) < 30;
      for (uint32_t p = 0; any && p < ratios[r]; ++p) {
        seed = seed * 1664525u + 1013904223u;
        fine[p] = (double)(int32_t)seed / 2147483648.0;
      }
      const double a = planish_decimator_process(&f.decimator, &f.filters, any ? fine : NULL);
      const double b = planish_decimator_process(&all.decimator, &all.filters, fine);
      assert_true(a == b);
    }
    free(f.block);
    free(all.block);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(both_filters_keep_to_their_masks),
      cmocka_unit_test(a_constant_stays_what_it_was),
      cmocka_unit_test(up_and_down_is_a_whole_delay),
      cmocka_unit_test(the_peak_gain_bounds_every_fine_sample),
      cmocka_unit_test(zeros_left_out_change_no_bit),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
