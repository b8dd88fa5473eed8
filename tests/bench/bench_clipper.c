/* What the clipper costs, in plain stereo biquads (double precision, direct form II transposed)
 * measured in the same run. The input is clipped in every frame: the worst case. */
#include "common/dsp/clip_pass.h"
#include "common/dsp/maths.h"
#include "common/dsp/peak_trim.h"
#include "tests/unit/arena_fixture.h"

#include <stdio.h>
#include <time.h>

enum { FRAMES = 20000, ROUNDS = 15 };

static double left[FRAMES];
static double right[FRAMES];
static double sink;

static double now(void)
{
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void fill(double peak)
{
  uint32_t seed = 1;
  for (int n = 0; n < FRAMES; ++n) {
    seed = seed * 1664525U + 1013904223U;
    left[n] = peak * (sin(0.05 * n) + 0.2 * (double)(int32_t)seed / 2147483648.0);
    right[n] = peak * sin(0.07 * n);
  }
}

static void biquads(void)
{
  double state[2][2] = {{0.0}};
  for (int n = 0; n < FRAMES; ++n) {
    double *const channel[2] = {left + n, right + n};
    for (int c = 0; c < 2; ++c) {
      const double x = *channel[c];
      const double y = 0.9 * x + state[c][0];
      state[c][0] = -1.7 * x + 1.8 * y + state[c][1];
      state[c][1] = 0.85 * x - 0.82 * y;
      *channel[c] = y;
    }
  }
  sink += left[FRAMES - 1] + right[FRAMES - 1];
}

static PlanishBlockOversampler filters;
static PlanishClipPass passes[2];
static PlanishPeakTrim trim;
static uint32_t ratio;

static void build(PlanishArena *arena)
{
  planish_block_oversampler_setup(&filters, arena, ratio);
  planish_clip_pass_setup(passes, arena);
  planish_clip_pass_setup(passes + 1, arena);
  planish_peak_trim_setup(&trim, arena, 48000.0, 77);
}

static void clip_pass(void)
{
  PlanishClipCurves curves;
  double peaks[PLANISH_GRID] = {0.0};
  double residues[PLANISH_GRID] = {0.0};
  const PlanishClipCurve curve = planish_clip_curve_of(-12.0, 0.0);
  planish_clip_curves_fill(&curves, &curve);
  for (int n = 0; n + PLANISH_GRID <= FRAMES; n += PLANISH_GRID) {
    const double *const audio[2] = {left + n, right + n};
    for (int c = 0; c < 2; ++c) {
      planish_clip_pass_push(passes + c, audio[c], PLANISH_GRID);
      planish_clip_pass_residues(passes + c, 0, &filters, &curves, peaks, residues);
      sink += residues[0];
    }
  }
  sink += peaks[0];
}

static void trim_peaks(void)
{
  double ceilings[PLANISH_GRID];
  double warnings[PLANISH_GRID];
  for (int i = 0; i < PLANISH_GRID; ++i) {
    ceilings[i] = 0.9;
    warnings[i] = 1.0;
  }
  for (int n = 0; n + PLANISH_GRID <= FRAMES; n += PLANISH_GRID) {
    double *const audio[2] = {left + n, right + n};
    sink += planish_peak_trim_process(&trim, audio, ceilings, warnings, 2, PLANISH_GRID);
  }
}

/* Seconds of the fastest of several rounds. */
static double fastest(void (*work)(void), double peak)
{
  double best = 1e9;
  for (int round = 0; round < ROUNDS; ++round) {
    fill(peak);
    const double start = now();
    work();
    best = planish_min(best, now() - start);
  }
  return best;
}

int main(void)
{
  const double biquad = fastest(biquads, 1.0);
  printf("stereo biquad: %.2f ns a frame\n", 1e9 * biquad / FRAMES);
  for (ratio = 4; ratio <= 16; ratio *= 2) {
    PlanishArena arena = planish_arena_counting();
    build(&arena);
    arena = arena_for(arena);
    build(&arena);
    planish_clip_pass_reset(passes);
    planish_clip_pass_reset(passes + 1);
    planish_peak_trim_reset(&trim);
    printf(
        "%2ux: a pass that clips every frame %.1f biquads, under the threshold %.1f, idle %.1f\n",
        ratio, fastest(clip_pass, 4.0) / biquad, fastest(clip_pass, 0.02) / biquad,
        fastest(clip_pass, 0.01) / biquad);
    if (ratio == 16) {
      printf("trim: %.1f biquads\n", fastest(trim_peaks, 1.0) / biquad);
    }
    free(arena.block);
  }
  return sink == 1.0;
}
