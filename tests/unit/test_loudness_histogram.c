/* Integrated loudness and range out of bins against the same blocks kept one by one, which is what
 * ITU-R BS.1770-5 Annex 1 and EBU Tech 3342 describe: 100 hours of them. */
#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>
#include <stdlib.h>

enum { HOURS = 100, BLOCKS = HOURS * 3600 * 10 };

typedef struct {
  PlanishLoudnessHistogram histogram;
  void *block;
} Fixture;

static Fixture make(void)
{
  Fixture f;
  PlanishArena arena = planish_arena_counting();
  planish_loudness_histogram_setup(&f.histogram, &arena);
  arena = arena_for(arena);
  f.block = arena.block;
  planish_loudness_histogram_setup(&f.histogram, &arena);
  planish_loudness_histogram_reset(&f.histogram);
  return f;
}

static double uniform(uint64_t *seed)
{
  *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
  return (double)(*seed >> 11) / 9007199254740992.0;
}

static double power_of(double loudness)
{
  return pow(10.0, (loudness + 0.691) / 10.0);
}

/* Loudness of a block, by kind: songs of verses and choruses with pauses; a loud master that hardly
 * moves; evenly anything from -75 to 0; speech that comes and goes. */
static double loudness_at(int kind, size_t n, double *slow, uint64_t *seed)
{
  const double quick = uniform(seed) + uniform(seed) + uniform(seed) - 1.5;
  if (n % 157 == 0) {
    *slow = uniform(seed);
  }
  switch (kind) {
  case 0:
    return n % 2400 > 2370 ? -80.0 : -14.0 - 12.0 * *slow + 4.0 * quick;
  case 1:
    return -8.0 - 1.5 * *slow + quick;
  case 2:
    return -75.0 * uniform(seed);
  default:
    return *slow > 0.3 ? -23.0 + 8.0 * quick : -55.0 + 6.0 * quick;
  }
}

/* The standard's two gates, on the list itself. */
static double gated_exactly(const double *power, size_t count, double relative, double *share_near)
{
  double gate = power_of(-70.0);
  long double sum = 0.0L;
  size_t passed = 0;
  for (int pass = 0; pass < 2; ++pass) {
    if (pass == 1) {
      gate = fmax(gate, pow(10.0, relative / 10.0) * (double)(sum / passed));
    }
    sum = 0.0L;
    passed = 0;
    size_t near = 0;
    for (size_t n = 0; n < count; ++n) {
      if (power[n] > gate) {
        sum += (long double)power[n];
        ++passed;
      }
      near += fabs(10.0 * log10(power[n] / gate)) < 0.01 ? 1 : 0;
    }
    *share_near = (double)near / (double)passed;
  }
  return -0.691 + 10.0 * log10((double)(sum / passed));
}

static void a_hundred_hours_are_exact_enough(void **state)
{
  (void)state;
  static const char *const names[] = {"songs with pauses", "a loud master", "evenly anything",
                                      "speech that comes and goes"};
  double *power = malloc(BLOCKS * sizeof *power);
  assert_non_null(power);
  for (int kind = 0; kind < 4; ++kind) {
    Fixture f = make();
    uint64_t seed = 17 + (uint64_t)kind;
    double slow = 0.0;
    for (size_t n = 0; n < BLOCKS; ++n) {
      power[n] = power_of(loudness_at(kind, n, &slow, &seed));
      planish_loudness_histogram_add(&f.histogram, power[n], 0.0);
    }
    for (int gate = 0; gate < 2; ++gate) {
      const double relative = gate == 0 ? -10.0 : -20.0;
      double near;
      const double exact = gated_exactly(power, BLOCKS, relative, &near);
      const PlanishLoudnessBin over = planish_loudness_histogram_gated(&f.histogram, relative);
      const double is = planish_loudness_of(over.power / (double)over.count);
      const double bound = -10.0 * log10(1.0 - near) + 1e-9;
      printf("    %d hours of %-26s gate %3.0f: %9.4f LUFS, off by %+.6f LU (bound %.6f)\n", HOURS,
             names[kind], relative, exact, is - exact, bound);
      assert_true(fabs(is - exact) <= 0.01);
      assert_true(fabs(is - exact) <= bound);
    }
    free(f.block);
  }
  free(power);
}

/* What bins cannot tell: a hundredth of all blocks at the very gate, within a bin. */
static void the_bound_holds_where_blocks_crowd_at_the_gate(void **state)
{
  (void)state;
  enum { COUNT = 100000 };
  static double power[COUNT];
  double worst = 0.0;
  for (int place = 0; place < 40; ++place) {
    Fixture f = make();
    uint64_t seed = 5;
    for (size_t n = 0; n < COUNT; ++n) {
      const double low = -34.07 + 0.0015 * place + 0.006 * uniform(&seed);
      power[n] = power_of(n % 100 == 0 ? low : -24.0);
      planish_loudness_histogram_add(&f.histogram, power[n], 0.0);
    }
    double near;
    const double exact = gated_exactly(power, COUNT, -10.0, &near);
    const PlanishLoudnessBin over = planish_loudness_histogram_gated(&f.histogram, -10.0);
    const double off = planish_loudness_of(over.power / (double)over.count) - exact;
    worst = fmax(worst, fabs(off));
    assert_true(fabs(off) <= -10.0 * log10(1.0 - near) + 1e-9);
    free(f.block);
  }
  printf("    a hundredth of all blocks at the gate: off by up to %.4f LU (bound %.4f)\n", worst,
         -10.0 * log10(0.99));
  assert_true(worst > 0.001);
}

/* A reset leaves old bins in place: none may be read again. */
static void nothing_comes_back_after_a_reset(void **state)
{
  (void)state;
  Fixture f = make();
  uint64_t seed = 9;
  for (size_t n = 0; n < 100000; ++n) {
    planish_loudness_histogram_add(&f.histogram, power_of(-75.0 * uniform(&seed)), 0.0);
  }
  planish_loudness_histogram_reset(&f.histogram);
  assert_int_equal(planish_loudness_histogram_gated(&f.histogram, -10.0).count, 0);
  assert_true(planish_loudness_histogram_ranked(&f.histogram, 0) == -HUGE_VAL);
  for (int n = 0; n < 10; ++n) {
    planish_loudness_histogram_add(&f.histogram, power_of(-20.5), 0.0);
    planish_loudness_histogram_add(&f.histogram, power_of(-30.25), 0.0);
  }
  const PlanishLoudnessBin over = planish_loudness_histogram_gated(&f.histogram, -10.0);
  assert_int_equal(over.count, 20);
  assert_true(fabs(planish_loudness_histogram_ranked(&f.histogram, 0) - -20.5) < 1e-9);
  assert_true(fabs(planish_loudness_histogram_ranked(&f.histogram, 19) - -30.25) < 1e-9);
  assert_true(planish_loudness_histogram_ranked(&f.histogram, 20) == -HUGE_VAL);
  free(f.block);
}

/* The counters of a meter that has run for a hundred hours: the same sound reads as at the start.
 */
static void a_meter_of_a_hundred_hours_reads_on(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 192000.0};
  for (size_t r = 0; r < 2; ++r) {
    double read[2][3];
    for (int late = 0; late < 2; ++late) {
      PlanishLoudness meter;
      PlanishArena arena = planish_arena_counting();
      assert_int_equal(planish_loudness_setup(&meter, &arena, rates[r], 2), PLANISH_OK);
      arena = arena_for(arena);
      assert_int_equal(planish_loudness_setup(&meter, &arena, rates[r], 2), PLANISH_OK);
      if (late == 1) {
        meter.steps = (uint64_t)HOURS * 3600 * PLANISH_LOUDNESS_STEPS_PER_S;
        meter.frame = planish_loudness_step_end(rates[r], meter.steps);
        meter.step_start = meter.frame;
        meter.step_end = planish_loudness_step_end(rates[r], meter.steps + 1);
        planish_loudness_restart(&meter);
      }
      for (size_t n = 0; n < (size_t)(7.0 * rates[r]); ++n) {
        const double x = 0.1 * sin(0.07 * (double)n) * ((double)n > 3.0 * rates[r] ? 0.3 : 1.0);
        planish_loudness_process(&meter, (const double *const[]){&x, &x}, 1);
      }
      read[late][0] = planish_loudness_integrated(&meter);
      read[late][1] = planish_loudness_shortterm(&meter);
      read[late][2] = planish_loudness_range(&meter);
      assert_int_equal(meter.counted, 7 * PLANISH_LOUDNESS_STEPS_PER_S);
      free(arena.block);
    }
    printf("    %6.0f Hz: after %d hours integrated %.6f LUFS, at the start %.6f\n", rates[r],
           HOURS, read[1][0], read[0][0]);
    assert_memory_equal(read[0], read[1], sizeof read[0]);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_hundred_hours_are_exact_enough),
      cmocka_unit_test(the_bound_holds_where_blocks_crowd_at_the_gate),
      cmocka_unit_test(nothing_comes_back_after_a_reset),
      cmocka_unit_test(a_meter_of_a_hundred_hours_reads_on),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
