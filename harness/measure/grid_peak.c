#include "harness/measure/grid_peak.h"

#include "common/dsp/maths.h"

#define FINE      PLANISH_GRID_PEAK_FINE
#define HALF_TAPS PLANISH_GRID_PEAK_HALF_TAPS
#define TAPS      PLANISH_GRID_PEAK_TAPS

/* Kaiser window: the kernel passes up to 1/8 of the rate and stops from 7/8, by some 125 dB
 * (Kaiser's formula). */
#define KAISER_BETA 13.0

/* Modified Bessel function of the first kind, order 0, by its power series. */
static double bessel_i0(double x)
{
  double term = 1.0;
  double sum = 1.0;
  for (int k = 1; k < 60; ++k) {
    term *= (x / (2.0 * k)) * (x / (2.0 * k));
    sum += term;
  }
  return sum;
}

void planish_grid_peak_design(PlanishGridPeakKernel *kernel)
{
  for (int f = -FINE; f <= FINE; ++f) {
    for (int j = 0; j < TAPS; ++j) {
      const double x = j - HALF_TAPS - (double)f / FINE;
      const double place = x / HALF_TAPS;
      const double window =
          fabs(place) >= 1.0
              ? 0.0
              : bessel_i0(KAISER_BETA * sqrt(1.0 - place * place)) / bessel_i0(KAISER_BETA);
      const double sinc = x == 0.0 ? 1.0 : sin(PLANISH_PI * x) / (PLANISH_PI * x);
      kernel->weights[FINE + f][j] = (float)(sinc * window);
    }
  }
}

static double fine_value(const PlanishGridPeakKernel *kernel, const float *at, int fine)
{
  const float *weights = kernel->weights[FINE + fine];
  float sum = 0.0F;
  for (int j = 0; j < TAPS; ++j) {
    sum += weights[j] * at[j - HALF_TAPS];
  }
  return fabs((double)sum);
}

/* Top of the parabola through three points one apart, the middle one being the largest. */
static double parabola(double before, double middle, double after, double *top)
{
  const double bend = before - 2.0 * middle + after;
  const double tilt = 0.5 * (after - before);
  if (!(bend < 0.0)) {
    *top = middle;
    return 0.0;
  }
  const double at = planish_clamp(-tilt / bend, -1.0, 1.0);
  *top = middle + 0.5 * tilt * at;
  return at;
}

/* The peak around the grid point `at`, a local maximum; its place counts from that point. */
static PlanishGridPeak refine(const PlanishGridPeakKernel *kernel, const float *at)
{
  double top;
  const double rough =
      parabola(fabs((double)at[-1]), fabs((double)at[0]), fabs((double)at[1]), &top);
  int fine = (int)lrint(rough * FINE);
  fine = fine > FINE - 1 ? FINE - 1 : (fine < 1 - FINE ? 1 - FINE : fine);
  double before = fine_value(kernel, at, fine - 1);
  double middle = fine_value(kernel, at, fine);
  double after = fine_value(kernel, at, fine + 1);
  while (after > middle && fine < FINE - 1) {
    before = middle;
    middle = after;
    after = fine_value(kernel, at, ++fine + 1);
  }
  while (before > middle && fine > 1 - FINE) {
    after = middle;
    middle = before;
    before = fine_value(kernel, at, --fine - 1);
  }
  const double place = fine + parabola(before, middle, after, &top);
  return (PlanishGridPeak){top, place / FINE};
}

/* Points that are looked at together, so that nearly all are passed over by vectors. */
enum { GROUP = 8 };

static float largest_of(const float *from, size_t points)
{
  float lanes[GROUP] = {0.0F};
  size_t i = 0;
  for (; i + GROUP <= points; i += GROUP) {
    for (size_t k = 0; k < GROUP; ++k) {
      const float value = fabsf(from[i + k]);
      lanes[k] = value > lanes[k] ? value : lanes[k];
    }
  }
  for (; i < points; ++i) {
    lanes[0] = fabsf(from[i]) > lanes[0] ? fabsf(from[i]) : lanes[0];
  }
  for (size_t k = 1; k < GROUP; ++k) {
    lanes[0] = lanes[k] > lanes[0] ? lanes[k] : lanes[0];
  }
  return lanes[0];
}

/* The first point from `i` on that is at least so large; `points`: there is none. */
static size_t next_of(const float *from, size_t points, size_t i, float least)
{
  for (; i + GROUP <= points; i += GROUP) {
    int count = 0;
    for (size_t k = 0; k < GROUP; ++k) {
      count += fabsf(from[i + k]) >= least;
    }
    if (count > 0) {
      break;
    }
  }
  while (i < points && !(fabsf(from[i]) >= least)) {
    ++i;
  }
  return i;
}

PlanishGridPeak planish_grid_peak_find(const PlanishGridPeakKernel *kernel, const float *from,
                                       size_t points)
{
  static const double within = 0.92387953251128676; /* cos(pi / 8) */
  const float largest = largest_of(from, points);
  if (largest == 0.0F) {
    return (PlanishGridPeak){0.0, 0.0};
  }
  PlanishGridPeak best = {(double)largest, (double)next_of(from, points, 0, largest)};
  const float least = (float)(best.magnitude * within);
  for (size_t i = next_of(from, points, 0, least); i < points;
       i = next_of(from, points, i + 1, least)) {
    const float value = fabsf(from[i]);
    if (value >= fabsf(from[(ptrdiff_t)i - 1]) && value >= fabsf(from[i + 1])) {
      const PlanishGridPeak refined = refine(kernel, from + i);
      if (refined.magnitude > best.magnitude) {
        best = (PlanishGridPeak){refined.magnitude, (double)i + refined.place};
      }
    }
  }
  return best;
}
