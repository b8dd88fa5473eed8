/* Taps of linear phase against the sum of cosines that they stand for, in double precision. */
#include "tests/unit/cmocka_headers.h"

#include "common/dsp/linear_phase.h"
#include "tests/unit/arena_fixture.h"

#include <math.h>
#include <stdio.h>

typedef struct {
  PlanishLinearPhase phase;
  PlanishComplex *gains;
  PlanishComplex *taps;
  void *block;
} Fixture;

static PlanishArena take(Fixture *f, PlanishArena arena, uint32_t length)
{
  f->gains = planish_arena_take(&arena, length, sizeof *f->gains);
  f->taps = planish_arena_take(&arena, length, sizeof *f->taps);
  assert_int_equal(planish_linear_phase_setup(&f->phase, &arena, length), PLANISH_OK);
  return arena;
}

static void fixture_new(Fixture *f, uint32_t length)
{
  memset(f, 0, sizeof *f);
  const PlanishArena counted = take(f, planish_arena_counting(), length);
  const PlanishArena arena = arena_for(counted);
  f->block = arena.block;
  assert_int_equal(take(f, arena, length).used, counted.used);
}

static void fixture_free(Fixture *f)
{
  planish_linear_phase_release(&f->phase);
  planish_linear_phase_release(&f->phase);
  free(f->block);
}

static void design(Fixture *f)
{
  PlanishLinearCurves curves = {&f->phase, f->gains, f->taps};
  PlanishTask tasks[PLANISH_LINEAR_PHASE_TASKS];
  const uint32_t count = planish_linear_phase_tasks(&curves, 256, tasks);
  for (uint32_t t = 0; t < count; ++t) {
    for (uint32_t i = 0; i < tasks[t].count; ++i) {
      tasks[t].step(tasks[t].context, i);
    }
  }
}

/* Two curves at once, one of them rough. */
static void fill(Fixture *f)
{
  uint32_t seed = 5;
  for (uint32_t k = 0; k < f->phase.length; ++k) {
    const double x = ((double)k + 0.5) / f->phase.length;
    seed = seed * 1664525U + 1013904223U;
    f->gains[k] = (PlanishComplex){(float)(0.5 / (1.0 + 100.0 * (x - 0.2) * (x - 0.2))),
                                   (float)seed / 4294967296.0F - 0.5F};
  }
}

/* Half of it at the tap `n` from the middle. */
static double tap_at(const Fixture *f, uint32_t n, bool imaginary)
{
  const double length = f->phase.length;
  double sum = 0.0;
  for (uint32_t k = 0; k < f->phase.length; ++k) {
    const double gain = (double)(imaginary ? f->gains[k].im : f->gains[k].re);
    sum += gain * cos(3.14159265358979323846 * n * (k + 0.5) / length);
  }
  const double window = 1.0 - pow(2.0 * n / length, 32.0);
  return sum / length * window * window;
}

static void taps_are_sums_of_cosines(void **state)
{
  (void)state;
  for (uint32_t length = 256; length <= 16384; length *= 4) {
    Fixture f;
    fixture_new(&f, length);
    fill(&f);
    design(&f);
    double worst = 0.0;
    double power = 0.0;
    uint32_t looked_at = 0;
    for (uint32_t n = 0; n < length / 2; n += 1 + length / 300) {
      const double re = tap_at(&f, n, false);
      const double im = tap_at(&f, n, true);
      const PlanishComplex tap = f.taps[length / 2 + n];
      worst = fmax(worst, fmax(fabs((double)tap.re - re), fabs((double)tap.im - im)));
      power += re * re + im * im;
      ++looked_at;
    }
    const double off = 20.0 * log10(worst / sqrt(power / looked_at));
    printf("%5u taps: off by %.1f dB of their rms at most\n", length, off);
    assert_true(off <= -110.0);
    fixture_free(&f);
  }
}

static void both_sides_are_the_same(void **state)
{
  (void)state;
  Fixture f;
  fixture_new(&f, 1024);
  fill(&f);
  f.taps[0].re = 1.0F;
  design(&f);
  for (uint32_t n = 1; n < 512; ++n) {
    assert_memory_equal(&f.taps[512 + n], &f.taps[512 - n], sizeof *f.taps);
  }
  assert_true(f.taps[0].re == 0.0F && f.taps[0].im == 0.0F);
  fixture_free(&f);
}

/* A gain of one everywhere is an impulse. */
static void unity_is_an_impulse(void **state)
{
  (void)state;
  Fixture f;
  fixture_new(&f, 1024);
  for (uint32_t k = 0; k < 1024; ++k) {
    f.gains[k] = (PlanishComplex){1.0F, 0.0F};
  }
  design(&f);
  assert_true(fabsf(f.taps[512].re - 1.0F) <= 2e-7F);
  for (uint32_t n = 0; n < 1024; ++n) {
    assert_true(fabsf(f.taps[n].im) <= 1e-7F);
    assert_true(n == 512 || fabsf(f.taps[n].re) <= 1e-7F);
  }
  fixture_free(&f);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(taps_are_sums_of_cosines),
      cmocka_unit_test(both_sides_are_the_same),
      cmocka_unit_test(unity_is_an_impulse),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
