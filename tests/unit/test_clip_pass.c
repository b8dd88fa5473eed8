/* One pass of clip-and-filter: aliases, harmonics, bits. */
#include "common/dsp/clip_means.h"
#include "common/dsp/clip_pass.h"
#include "common/dsp/maths.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/clip_excess.h"
#include "tests/unit/cmocka_headers.h"

#include <fftw3.h>
#include <stdio.h>

/* One second, so that a tone of whole hertz fills whole bins. */
enum { RATE = 44100, SETTLE = 200 };

static const double CEILING_DB = -1.0;

typedef struct {
  PlanishBlockOversampler filters;
  PlanishOversampler plain;
  PlanishDecimator decimator;
  PlanishClipPass pass;
  void *block;
} Fixture;

static void build(Fixture *f, PlanishArena *arena, uint32_t ratio)
{
  planish_block_oversampler_setup(&f->filters, arena, ratio);
  planish_oversampler_setup(&f->plain, arena, ratio, -0.5);
  planish_decimator_setup(&f->decimator, arena);
  planish_clip_pass_setup(&f->pass, arena);
}

static Fixture make(uint32_t ratio)
{
  Fixture f = {0};
  PlanishArena arena = planish_arena_counting();
  build(&f, &arena, ratio);
  arena = arena_for(arena);
  f.block = arena.block;
  build(&f, &arena, ratio);
  planish_decimator_reset(&f.decimator);
  planish_clip_pass_reset(&f.pass);
  return f;
}

static double tone(double hertz, double drive_db, int n)
{
  const double peak = planish_gain_of(CEILING_DB + drive_db);
  return peak * sin(2.0 * PLANISH_PI * fmod(hertz * n, RATE) / RATE);
}

static double clip_frame(Fixture *f, const PlanishClipCurve *curve, double x)
{
  double peaks[PLANISH_GRID] = {0.0};
  double residue = 0.0;
  PlanishClipCurves curves;
  planish_clip_curves_fill(&curves, curve);
  planish_clip_pass_push(&f->pass, &x, 1);
  planish_clip_pass_residues(&f->pass, 0, &f->filters, &curves, peaks, &residue);
  return *planish_clip_pass_delayed(&f->pass) - residue;
}

static void clip_tone(uint32_t ratio, double knee, double hertz, double drive_db, double *out)
{
  Fixture f = make(ratio);
  const PlanishClipCurve curve = planish_clip_curve_of(CEILING_DB, knee);
  for (int n = -SETTLE; n < RATE; ++n) {
    const double y = clip_frame(&f, &curve, tone(hertz, drive_db, n));
    if (n >= 0) {
      out[n] = y;
    }
  }
  free(f.block);
}

/* What must fail: the same filters without the antiderivative. */
static void clip_tone_plainly(uint32_t ratio, double hertz, double drive_db, double *out)
{
  Fixture f = make(ratio);
  const PlanishClipCurve curve = planish_clip_curve_of(CEILING_DB, 0.0);
  double past[PLANISH_OVERSAMPLER_TAPS] = {0.0};
  for (int n = -SETTLE; n < RATE; ++n) {
    _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO];
    memmove(past, past + 1, sizeof past - sizeof *past);
    past[PLANISH_OVERSAMPLER_TAPS - 1] = tone(hertz, drive_db, n);
    planish_oversampler_up(&f.plain, past, fine);
    for (uint32_t p = 0; p < ratio; ++p) {
      fine[p] = planish_clip_curve_excess(&curve, fine[p]);
    }
    const double residue = planish_decimator_process(&f.decimator, &f.plain, fine);
    if (n >= 0) {
      out[n] = past[0] - residue;
    }
  }
  free(f.block);
}

/* Magnitudes of the lines of one second, [0..RATE/2]. */
static void spectrum(const double *signal, double *lines)
{
  double *in = fftw_alloc_real(RATE);
  fftw_complex *bins = fftw_alloc_complex(RATE / 2 + 1);
  fftw_plan plan = fftw_plan_dft_r2c_1d(RATE, in, bins, FFTW_ESTIMATE);
  memcpy(in, signal, RATE * sizeof *in);
  fftw_execute(plan);
  for (int k = 0; k <= RATE / 2; ++k) {
    lines[k] = sqrt(bins[k][0] * bins[k][0] + bins[k][1] * bins[k][1]) * 2.0 / RATE;
  }
  fftw_destroy_plan(plan);
  fftw_free(in);
  fftw_free(bins);
}

/* The strongest line under 20 kHz that is no harmonic, dB re the tone. */
static double worst_alias(const double *signal, int hertz)
{
  static double lines[RATE / 2 + 1];
  spectrum(signal, lines);
  double worst = 0.0;
  for (int k = 1; k < 20000; ++k) {
    if (k % hertz != 0) {
      worst = planish_max(worst, lines[k]);
    }
  }
  return planish_level_of(worst / lines[hertz]);
}

static const int tones[] = {1000, 5000, 10000};
static const double drives[] = {1.0, 3.0, 6.0};

static void check_aliases(uint32_t ratio, const double *goals)
{
  static double out[RATE];
  for (int t = 0; t < 3; ++t) {
    double worst = -1e9;
    printf("%2ux, %5d Hz at 1/3/6 dB over:", ratio, tones[t]);
    for (int d = 0; d < 3; ++d) {
      clip_tone(ratio, 0.0, tones[t], drives[d], out);
      const double alias = worst_alias(out, tones[t]);
      printf(" %.1f", alias);
      worst = planish_max(worst, alias);
    }
    printf(" dB, goal %.0f\n", goals[t]);
    assert_true(worst <= goals[t]);
  }
}

static const double goals_8x[] = {-115.0, -95.0, -85.0};

static void aliases_stay_under_the_goals(void **state)
{
  (void)state;
  const double goals_4x[] = {-100.0, -75.0, -65.0};
  const double goals_16x[] = {-135.0, -115.0, -100.0};
  check_aliases(4, goals_4x);
  check_aliases(8, goals_8x);
  check_aliases(16, goals_16x);
}

static void lesser_methods_miss_the_goals(void **state)
{
  (void)state;
  static double out[RATE];
  const PlanishClipCurve curve = planish_clip_curve_of(CEILING_DB, 0.0);
  for (int t = 0; t < 3; ++t) {
    for (int d = 0; d < 3; ++d) {
      clip_tone_plainly(8, tones[t], drives[d], out);
      const double plain = worst_alias(out, tones[t]);
      for (int n = 0; n < RATE; ++n) {
        out[n] = planish_clip_curve_value(&curve, tone(tones[t], drives[d], n));
      }
      const double base = worst_alias(out, tones[t]);
      printf("%5d Hz, %.0f dB over: base rate %.1f, plain 8x %.1f dB\n", tones[t], drives[d], base,
             plain);
      assert_true(base > goals_8x[t]);
      assert_true(plain > goals_8x[t]);
    }
  }
}

/* Fourier series of clip(d sin t, +-1) (closed form, checked by numeric integration). */
static double clipped_sine_harmonic(double drive_db, int n)
{
  const double d = pow(10.0, drive_db / 20.0);
  const double t0 = asin(1.0 / d);
  if (n == 1) {
    return 2.0 / PLANISH_PI * (d * t0 + sqrt(1.0 - 1.0 / (d * d)));
  }
  return 4.0 / PLANISH_PI *
         (d * (sin((n - 1) * t0) / (2.0 * (n - 1)) - sin((n + 1) * t0) / (2.0 * (n + 1))) +
          cos(n * t0) / n);
}

static void harmonics_are_those_of_a_clipped_sine(void **state)
{
  (void)state;
  static double out[RATE];
  static double lines[RATE / 2 + 1];
  const double drive_all[] = {1.0, 3.0, 6.0, 12.0};
  const int bases[] = {50, 1000, 5000};
  assert_true(fabs(clipped_sine_harmonic(6.0, 3) - 0.275009374) < 1e-9);
  for (int b = 0; b < 3; ++b) {
    for (int d = 0; d < 4; ++d) {
      double worst = 0.0;
      clip_tone(8, 0.0, bases[b], drive_all[d], out);
      spectrum(out, lines);
      for (int n = 1; n <= 15 && n * bases[b] <= 17000; n += 2) {
        const double wanted = fabs(clipped_sine_harmonic(drive_all[d], n));
        const double got = lines[n * bases[b]] / planish_gain_of(CEILING_DB);
        /* Lines that the series all but cancels are held to 0.1 dB of -60 dB. */
        const double error = fabs(got - wanted) / planish_max(wanted, 1e-3);
        worst = planish_max(worst, planish_level_of(1.0 + error));
      }
      printf("%4d Hz, %2.0f dB over: harmonics 1 to 15 off the closed form by %.4f dB\n", bases[b],
             drive_all[d], worst);
      assert_true(worst <= 0.1);
    }
  }
}

static void under_the_curve_no_bit_changes(void **state)
{
  (void)state;
  const uint32_t ratios[] = {4, 8, 16};
  for (int r = 0; r < 3; ++r) {
    Fixture f = make(ratios[r]);
    const PlanishClipCurve curve = planish_clip_curve_of(CEILING_DB, 3.0);
    double past[PLANISH_CLIP_PASS_DELAY + 1] = {0.0};
    for (int n = 0; n < 20000; ++n) {
      const double x = tone(997.0, -3.01, n);
      memmove(past, past + 1, sizeof past - sizeof *past);
      past[PLANISH_CLIP_PASS_DELAY] = x;
      assert_true(clip_frame(&f, &curve, x) == past[0]);
    }
    free(f.block);
  }
}

/* A curve that lies far lower for the gate alone makes it work on every frame. */
static void the_gate_changes_no_bit(void **state)
{
  (void)state;
  Fixture f = make(8);
  Fixture open = make(8);
  open.filters.peak_gain = 1e9;
  for (int s = 0; s < PLANISH_REACH; ++s) {
    open.filters.reach[s] = 1e9;
  }
  const PlanishClipCurve curve = planish_clip_curve_of(CEILING_DB, 1.0);
  uint32_t seed = 3;
  int skipped = 0;
  for (int n = 0; n < 40000; ++n) {
    seed = seed * 1664525u + 1013904223u;
    const double burst = n % 400 < 20 ? 1.5 : 0.3;
    const double x = burst * (double)(int32_t)seed / 2147483648.0;
    assert_true(clip_frame(&f, &curve, x) == clip_frame(&open, &curve, x));
    skipped += f.pass.engines[0].knows_last ? 0 : 1;
  }
  printf("gate: %.1f %% of frames needed no filter\n", skipped / 400.0);
  assert_true(skipped > 20000);
  free(f.block);
  free(open.block);
}

/* Bursts over the curve, so that groups of frames are left out and taken up again. */
static void fill_bursts(double *x, int frames)
{
  uint32_t seed = 11;
  for (int n = 0; n < frames; ++n) {
    seed = seed * 1664525u + 1013904223u;
    const double size = n / 150 % 3 == 0 ? 1.6 : 0.35 + 0.3 * (n / 450 % 2);
    x[n] = size * (double)(int32_t)seed / 2147483648.0;
  }
}

/* The mean of the excess over a segment, as clip_curve.h has it. */
static double plain_mean(const PlanishClipCurve *curve, double from, double to)
{
  const double step = to - from;
  if (fabs(step) < PLANISH_CLIP_LEAST_STEP) {
    return planish_clip_curve_excess(curve, 0.5 * (from + to));
  }
  return (excess_antiderivative(curve, to) - excess_antiderivative(curve, from)) / step;
}

/* The whole pass a frame at a time, by the plain filters, all of it worked out. */
static void clip_plainly(Fixture *f, const PlanishClipCurve *curve, const double *x, double *y,
                         double *peaks, int frames)
{
  const uint32_t ratio = f->plain.ratio;
  double past[PLANISH_OVERSAMPLER_TAPS] = {0.0};
  double last = 0.0;
  for (int n = 0; n < frames; ++n) {
    _Alignas(16) double fine[PLANISH_OVERSAMPLER_MAX_RATIO];
    _Alignas(16) double means[PLANISH_OVERSAMPLER_MAX_RATIO];
    memmove(past, past + 1, sizeof past - sizeof *past);
    past[PLANISH_OVERSAMPLER_TAPS - 1] = x[n];
    planish_oversampler_up(&f->plain, past, fine);
    double most = fabs(last);
    for (uint32_t p = 0; p < ratio; ++p) {
      means[p] = plain_mean(curve, last, fine[p]);
      most = planish_max(most, fabs(fine[p]));
      last = fine[p];
    }
    peaks[n] = most > curve->start ? most : 0.0;
    y[n] = past[0] - planish_decimator_process(&f->decimator, &f->plain, means);
  }
}

static void clip_in_blocks(Fixture *f, const PlanishClipCurve *curve, const double *x, double *y,
                           double *peaks, int frames, int block)
{
  PlanishClipCurves curves;
  planish_clip_curves_fill(&curves, curve);
  for (int n = 0; n < frames; n += block) {
    const int count = frames - n < block ? frames - n : block;
    double found[PLANISH_GRID] = {0.0};
    double residues[PLANISH_GRID] = {0.0};
    planish_clip_pass_push(&f->pass, x + n, (uint32_t)count);
    planish_clip_pass_residues(&f->pass, 0, &f->filters, &curves, found, residues);
    for (int i = 0; i < count; ++i) {
      y[n + i] = planish_clip_pass_delayed(&f->pass)[i] - residues[i];
      peaks[n + i] = found[i];
    }
  }
}

enum { BURSTS = 9000 };

static void a_pass_is_the_plain_one(void **state)
{
  (void)state;
  static double x[BURSTS];
  static double y[2][BURSTS];
  static double peaks[2][BURSTS];
  const uint32_t ratios[] = {4, 8, 16};
  fill_bursts(x, BURSTS);
  for (int trial = 0; trial < 6; ++trial) {
    const PlanishClipCurve curve = planish_clip_curve_of(CEILING_DB, trial < 3 ? 0.0 : 2.0);
    Fixture f = make(ratios[trial % 3]);
    double apart = 0.0;
    double read = 0.0;
    clip_plainly(&f, &curve, x, y[0], peaks[0], BURSTS);
    clip_in_blocks(&f, &curve, x, y[1], peaks[1], BURSTS, PLANISH_GRID);
    for (int n = 0; n < BURSTS; ++n) {
      apart = planish_max(apart, fabs(y[0][n] - y[1][n]));
      read = planish_max(read, fabs(peaks[0][n] - peaks[1][n]));
    }
    printf("%2ux, knee %.0f dB: off the plain pass by at most %.2g, peaks by %.2g\n",
           ratios[trial % 3], trial < 3 ? 0.0 : 2.0, apart, read);
    /* Of small steps the quotient of two rounded differences. */
    assert_true(apart < 1e-9);
    assert_true(read < 1e-14);
    free(f.block);
  }
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  static double x[BURSTS];
  static double y[2][BURSTS];
  static double peaks[2][BURSTS];
  const int blocks[] = {1, 5, 18, 31};
  const PlanishClipCurve curve = planish_clip_curve_of(CEILING_DB, 1.0);
  fill_bursts(x, BURSTS);
  Fixture whole = make(8);
  clip_in_blocks(&whole, &curve, x, y[0], peaks[0], BURSTS, PLANISH_GRID);
  for (size_t i = 0; i < sizeof blocks / sizeof *blocks; ++i) {
    Fixture f = make(8);
    clip_in_blocks(&f, &curve, x, y[1], peaks[1], BURSTS, blocks[i]);
    assert_memory_equal(y[0], y[1], sizeof y[0]);
    assert_memory_equal(peaks[0], peaks[1], sizeof peaks[0]);
    free(f.block);
  }
  free(whole.block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(aliases_stay_under_the_goals),
      cmocka_unit_test(lesser_methods_miss_the_goals),
      cmocka_unit_test(harmonics_are_those_of_a_clipped_sine),
      cmocka_unit_test(under_the_curve_no_bit_changes),
      cmocka_unit_test(the_gate_changes_no_bit),
      cmocka_unit_test(a_pass_is_the_plain_one),
      cmocka_unit_test(blocks_change_no_bit),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
