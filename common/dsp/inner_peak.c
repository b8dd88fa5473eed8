#include "common/dsp/inner_peak.h"

#include "common/dsp/interpolator.h"
#include "common/dsp/largest.h"
#include "common/dsp/maths.h"
#include "common/dsp/wide.h"
#include "common/dsp/windowed_sinc.h"

enum {
  TAPS = PLANISH_INNER_PEAK_TAPS,
  DELAY = PLANISH_INNER_PEAK_DELAY,
  PHASES = PLANISH_INNER_PEAK_PHASES,
  PAST = TAPS - 1,
  LANES = PLANISH_LANES
};

_Static_assert(PLANISH_GRID % PLANISH_LANES == 0, "registers reach no further than a whole block");

/* With this cut the stop band of a filter of 104 taps begins at half the rate (Kaiser 1974: the
 * transition is (A - 8) / (2.285 * 2 pi * taps) of the rate wide). */
static const PlanishWindowedSinc SINC = {.half_length = DELAY, .cut = 0.955, .attenuation = 75.0};

/* How much larger than the largest of three points the peak laid through them can be: sqrt(4/3), of
 * two equal ones beside a zero, and a little more for rounding. */
static const double VERTEX_MOST = 1.1547006;

void planish_inner_peak_setup(PlanishInnerPeak *peak, PlanishArena *arena)
{
  *peak = (PlanishInnerPeak){0};
  peak->past = planish_arena_take(arena, PAST + PLANISH_GRID, sizeof(double));
  peak->kernel = planish_arena_take(arena, PLANISH_INTERPOLATOR_SIZE(TAPS, PHASES), sizeof(double));
  for (uint32_t p = 0; p < PHASES; ++p) {
    peak->points[p] = planish_arena_take(arena, 1 + PLANISH_GRID, sizeof(double));
  }
  if (!planish_arena_is_filling(arena)) {
    return;
  }
  double phases[TAPS * PHASES];
  for (uint32_t p = 0; p < PHASES; ++p) {
    for (uint32_t k = 0; k < TAPS; ++k) {
      const double age = (double)(TAPS - 1 - k);
      phases[k * PHASES + p] = planish_windowed_sinc_at(&SINC, age + (double)p / PHASES - DELAY);
    }
    const double magnitudes = planish_scale_phase(phases + p, TAPS, PHASES, 1.0) * (1.0 + 1e-12);
    peak->gain = planish_max(peak->gain, magnitudes);
  }
  planish_interpolator_lay(peak->kernel, phases, TAPS, PHASES);
}

void planish_inner_peak_reset(PlanishInnerPeak *peak)
{
  memset(peak->past, 0, (PAST + PLANISH_GRID) * sizeof(double));
  for (uint32_t p = 0; p < PHASES; ++p) {
    memset(peak->points[p], 0, (1 + PLANISH_GRID) * sizeof(double));
  }
  peak->frames = 0;
}

double planish_inner_peak_most(const PlanishInnerPeak *peak)
{
  return VERTEX_MOST * peak->gain;
}

static void take(PlanishInnerPeak *peak, const double *audio, uint32_t frames)
{
  memmove(peak->past, peak->past + peak->frames, PAST * sizeof(double));
  memcpy(peak->past + PAST, audio, frames * sizeof(double));
  for (uint32_t p = 0; p < PHASES; ++p) {
    peak->points[p][0] = peak->points[p][peak->frames];
  }
  peak->frames = frames;
}

PLANISH_INLINED void find_points(PlanishInnerPeak *peak, bool wide)
{
  for (uint32_t at = 0; at < peak->frames; at += LANES) {
    PlanishFour fine[PHASES];
    planish_interpolate_four(peak->kernel, peak->past + at, fine, TAPS, PHASES, wide);
    for (uint32_t p = 0; p < PHASES; ++p) {
      planish_four_store(peak->points[p] + 1 + at, fine[p]);
    }
  }
}

PLANISH_INLINED void find_band(PlanishInnerPeak *peak, bool wide)
{
  for (uint32_t at = 0; at < peak->frames; at += LANES) {
    planish_four_store(
        peak->points[0] + 1 + at,
        planish_interpolate_first(peak->kernel, peak->past + at, TAPS, PHASES, wide));
  }
}

PLANISH_WIDE_ALONE static void find_wide(PlanishInnerPeak *peak, bool band_alone)
{
  if (band_alone) {
    find_band(peak, true);
  } else {
    find_points(peak, true);
  }
}

static void find_plain(PlanishInnerPeak *peak, bool band_alone)
{
  if (band_alone) {
    find_band(peak, false);
  } else {
    find_points(peak, false);
  }
}

static void find(PlanishInnerPeak *peak, bool band_alone)
{
  if (planish_is_wide()) {
    find_wide(peak, band_alone);
  } else {
    find_plain(peak, band_alone);
  }
}

void planish_inner_peak_fill(PlanishInnerPeak *peak, const double *past)
{
  memcpy(peak->past, past, PAST * sizeof(double));
  peak->frames = 0;
}

void planish_inner_peak_push(PlanishInnerPeak *peak, const double *audio, uint32_t frames)
{
  take(peak, audio, frames);
  find(peak, false);
}

void planish_inner_peak_push_band(PlanishInnerPeak *peak, const double *audio, uint32_t frames)
{
  take(peak, audio, frames);
  find(peak, true);
}

/* The square of the peak at a fine point: if it is a local extremum, of the amplitude of the
 * sinusoid through it and its neighbours. A parabola, which knows no fourth derivative, misses
 * tones at the upper end of the inner band by up to 0.05 dB; this takes them exactly. */
static inline double vertex(double a, double b, double c)
{
  const double power = b * b;
  const double rest = 4.0 * power - (a + c) * (a + c);
  const bool extremum =
      (fabs(b) >= fabs(a)) & (fabs(b) >= fabs(c)) & (a * b >= 0.0) & (c * b >= 0.0) & (rest > 0.0);
  const double share = (c - a) * (c - a) / (extremum ? rest : 1.0);
  return extremum ? power + power * share : power;
}

/* Frame i of the block is point[i + 1] of each phase. Where an extremum lies between two frames it
 * counts for both. */
PLANISH_WIDE static void find_peaks(const double *restrict first, const double *restrict second,
                                    const double *restrict third, const double *restrict fourth,
                                    double *restrict peaks, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    double power = vertex(second[i], third[i], fourth[i]);
    power = planish_max(power, vertex(third[i], fourth[i], first[i + 1]));
    power = planish_max(power, vertex(fourth[i], first[i + 1], second[i + 1]));
    power = planish_max(power, vertex(first[i + 1], second[i + 1], third[i + 1]));
    power = planish_max(power, vertex(second[i + 1], third[i + 1], fourth[i + 1]));
    peaks[i] = sqrt(power);
  }
}

void planish_inner_peak_peaks(const PlanishInnerPeak *peak, double least, double *peaks)
{
  double *const *const points = peak->points;
  double largest = 0.0;
  for (uint32_t p = 0; p < PHASES; ++p) {
    largest = planish_max(largest, planish_largest_magnitude(points[p], 1 + peak->frames));
  }
  if (largest * VERTEX_MOST > least) {
    find_peaks(points[0], points[1], points[2], points[3], peaks, peak->frames);
    return;
  }
  for (uint32_t i = 0; i < peak->frames; ++i) {
    peaks[i] = largest;
  }
}
