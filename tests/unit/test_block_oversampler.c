/* The filters on blocks against those that take a frame at a time. */
#include "common/dsp/block_oversampler.h"
#include "common/dsp/maths.h"
#include "common/dsp/wide.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>

enum { TAPS = PLANISH_OVERSAMPLER_TAPS, FRAMES = 4000, LANES = PLANISH_LANES };

static const uint32_t ratios[] = {4, 8, 16};
enum { RATIOS = sizeof ratios / sizeof *ratios };

typedef struct {
  PlanishOversampler plain;
  PlanishBlockOversampler filters;
  PlanishDecimator plain_decimator;
  PlanishBlockDecimator decimator;
  void *block;
} Fixture;

static void build(Fixture *f, PlanishArena *arena, uint32_t ratio)
{
  planish_oversampler_setup(&f->plain, arena, ratio, -0.5);
  planish_block_oversampler_setup(&f->filters, arena, ratio);
  planish_decimator_setup(&f->plain_decimator, arena);
  planish_block_decimator_setup(&f->decimator, arena);
}

static Fixture make(uint32_t ratio)
{
  Fixture f = {0};
  PlanishArena arena = planish_arena_counting();
  build(&f, &arena, ratio);
  arena = arena_for(arena);
  f.block = arena.block;
  build(&f, &arena, ratio);
  planish_decimator_reset(&f.plain_decimator);
  planish_block_decimator_reset(&f.decimator);
  return f;
}

static double noise(uint32_t *seed)
{
  *seed = *seed * 1664525u + 1013904223u;
  return (double)(int32_t)*seed / 2147483648.0;
}

PLANISH_INLINED void interpolate(const Fixture *f, const double *past, PlanishFour *fine, bool wide)
{
  if (f->filters.ratio == 4) {
    planish_interpolate_four(f->filters.up, past, fine, TAPS, 4, wide);
  } else if (f->filters.ratio == 8) {
    planish_interpolate_four(f->filters.up, past, fine, TAPS, 8, wide);
  } else {
    planish_interpolate_four(f->filters.up, past, fine, TAPS, 16, wide);
  }
}

PLANISH_WIDE_ALONE static void interpolate_wide(const Fixture *f, const double *past,
                                                PlanishFour *fine)
{
  interpolate(f, past, fine, true);
}

/* Both forms, where there are both: the same bits. */
static void interpolate_both(const Fixture *f, const double *past, PlanishFour *fine)
{
  PlanishFour wide[PLANISH_OVERSAMPLER_MAX_RATIO];
  interpolate(f, past, fine, false);
  if (planish_is_wide()) {
    interpolate_wide(f, past, wide);
    assert_memory_equal(wide, fine, f->filters.ratio * sizeof *fine);
  }
}

static void add(Fixture *f, const PlanishFour *fine, uint32_t at)
{
  if (f->filters.ratio == 4) {
    planish_block_decimator_add(&f->decimator, &f->filters, fine, at, 4);
  } else if (f->filters.ratio == 8) {
    planish_block_decimator_add(&f->decimator, &f->filters, fine, at, 8);
  } else {
    planish_block_decimator_add(&f->decimator, &f->filters, fine, at, 16);
  }
}

static void up_is_the_plain_filter(void **state)
{
  (void)state;
  uint32_t seed = 1;
  for (int r = 0; r < RATIOS; ++r) {
    Fixture f = make(ratios[r]);
    double worst = 0.0;
    for (int trial = 0; trial < 500; ++trial) {
      double past[TAPS + LANES - 1];
      PlanishFour fine[PLANISH_OVERSAMPLER_MAX_RATIO];
      for (int k = 0; k < TAPS + LANES - 1; ++k) {
        past[k] = noise(&seed);
      }
      interpolate_both(&f, past, fine);
      for (int lane = 0; lane < LANES; ++lane) {
        _Alignas(16) double plain[PLANISH_OVERSAMPLER_MAX_RATIO];
        planish_oversampler_up(&f.plain, past + lane, plain);
        for (uint32_t p = 0; p < ratios[r]; ++p) {
          worst = planish_max(worst, fabs(plain[p] - fine[p][lane]));
        }
      }
      /* The first of them alone, and a lane's place, change no bit. */
      PlanishFour moved[PLANISH_OVERSAMPLER_MAX_RATIO];
      memmove(past, past + 1, sizeof past - sizeof *past);
      interpolate_both(&f, past, moved);
      for (uint32_t p = 0; p < ratios[r]; ++p) {
        assert_true(moved[p][0] == fine[p][1] && moved[p][2] == fine[p][3]);
      }
    }
    printf("%2ux up: off the plain filter by at most %.2g\n", ratios[r], worst);
    assert_true(worst < 2e-15);
    free(f.block);
  }
}

/* Bursts of fine samples, stretches of zeros in between. */
static void fill_fine(double *fine, uint32_t ratio)
{
  uint32_t seed = 7;
  for (uint32_t n = 0; n < FRAMES; ++n) {
    const bool any = n / 100 % 3 == 0 && noise(&seed) > -0.3;
    for (uint32_t p = 0; p < ratio; ++p) {
      fine[n * ratio + p] = any ? noise(&seed) : 0.0;
    }
  }
}

/* Blocks of `first`, then of `second` frames, in turn. */
static uint32_t bring_down(uint32_t ratio, const double *fine, double *results, uint32_t first,
                           uint32_t second)
{
  Fixture f = make(ratio);
  uint32_t silent = 0;
  for (uint32_t n = 0, blocks = 0; n < FRAMES; ++blocks) {
    const uint32_t wanted = blocks % 2 == 0 ? first : second;
    const uint32_t frames = FRAMES - n < wanted ? FRAMES - n : wanted;
    for (uint32_t at = 0; at < frames; at += LANES) {
      PlanishFour four[PLANISH_OVERSAMPLER_MAX_RATIO] = {{0.0}};
      double sizes = 0.0;
      for (uint32_t lane = 0; lane < LANES && at + lane < frames; ++lane) {
        for (uint32_t p = 0; p < ratio; ++p) {
          four[p][lane] = fine[(n + at + lane) * ratio + p];
          sizes += fabs(four[p][lane]);
        }
      }
      if (sizes > 0.0) {
        add(&f, four, at);
      }
    }
    if (!planish_block_decimator_take(&f.decimator, results + n, frames)) {
      memset(results + n, 0, frames * sizeof *results);
      silent += frames;
    }
    n += frames;
  }
  free(f.block);
  return silent;
}

static void down_is_the_plain_filter(void **state)
{
  (void)state;
  static double fine[FRAMES * PLANISH_OVERSAMPLER_MAX_RATIO];
  static double results[FRAMES];
  for (int r = 0; r < RATIOS; ++r) {
    Fixture f = make(ratios[r]);
    double worst = 0.0;
    fill_fine(fine, ratios[r]);
    const uint32_t silent = bring_down(ratios[r], fine, results, PLANISH_GRID, PLANISH_GRID);
    for (uint32_t n = 0; n < FRAMES; ++n) {
      _Alignas(16) double own[PLANISH_OVERSAMPLER_MAX_RATIO];
      memcpy(own, fine + n * ratios[r], ratios[r] * sizeof(double));
      const double plain = planish_decimator_process(&f.plain_decimator, &f.plain, own);
      worst = planish_max(worst, fabs(plain - results[n]));
      assert_true((results[n] == 0.0) == (plain == 0.0));
    }
    printf("%2ux down: off the plain filter by at most %.2g; nothing to do in %u of %d frames\n",
           ratios[r], worst, silent, FRAMES);
    assert_true(worst < 1e-15);
    assert_true(silent > FRAMES / 4);
    free(f.block);
  }
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  static double fine[FRAMES * PLANISH_OVERSAMPLER_MAX_RATIO];
  static double whole[FRAMES];
  static double cut[FRAMES];
  const uint32_t blocks[][2] = {{1, 1}, {32, 1}, {7, 25}, {31, 31}, {3, 30}, {4, 28}};
  for (int r = 0; r < RATIOS; ++r) {
    fill_fine(fine, ratios[r]);
    bring_down(ratios[r], fine, whole, PLANISH_GRID, PLANISH_GRID);
    for (size_t i = 0; i < sizeof blocks / sizeof *blocks; ++i) {
      bring_down(ratios[r], fine, cut, blocks[i][0], blocks[i][1]);
      assert_memory_equal(whole, cut, sizeof whole);
    }
  }
}

/* What comes closest to each bound: of one phase of one frame, all taps with their signs, as large
 * as each stretch may be. */
static void reach_bounds_every_fine_sample(void **state)
{
  (void)state;
  uint32_t seed = 9;
  for (int r = 0; r < RATIOS; ++r) {
    Fixture f = make(ratios[r]);
    double closest = 0.0;
    for (uint32_t trial = 0; trial < 200 * ratios[r]; ++trial) {
      const uint32_t frame = trial % (LANES + 1);
      const uint32_t p = trial / (LANES + 1) % ratios[r];
      double sizes[PLANISH_REACH];
      double bound = 0.0;
      double past[PLANISH_REACH * LANES];
      for (int s = 0; s < PLANISH_REACH; ++s) {
        sizes[s] = fabs(noise(&seed));
        bound += sizes[s] * f.filters.reach[s];
      }
      for (uint32_t i = 0; i < PLANISH_REACH * LANES; ++i) {
        const bool within = i >= frame && i < frame + TAPS;
        const double tap = within ? f.plain.up[(i - frame) * ratios[r] + p] : 1.0;
        past[i] = sizes[i / LANES] * (tap < 0.0 ? -1.0 : 1.0);
      }
      _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO];
      planish_oversampler_up(&f.plain, past + frame, fine);
      assert_true(fine[p] <= bound);
      closest = planish_max(closest, fine[p] / bound);
    }
    printf("%2ux: fine samples come up to %.3f of the bound\n", ratios[r], closest);
    assert_true(closest > 0.7);
    free(f.block);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(up_is_the_plain_filter),
      cmocka_unit_test(down_is_the_plain_filter),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(reach_bounds_every_fine_sample),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
