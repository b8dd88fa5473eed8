/* The peak of a signal that is oversampled 4 times, between its samples too.
 *
 * The largest magnitude stands at most 0.69 dB over the largest sample: a signal with peak P under
 * 1/8 of the grid's rate stays over P cos(pi/8) for half a grid point on either side of it. So only
 * maxima of the grid within this of the largest are looked at more closely: on 8 points a grid
 * point by a short kernel, exact to 1e-6 on such a signal, then by a parabola through the best
 * three.
 *
 * Thread: any. Real-time safe but for design. */
#ifndef PLANISH_HARNESS_GRID_PEAK_H
#define PLANISH_HARNESS_GRID_PEAK_H

#include <stddef.h>

#define PLANISH_GRID_PEAK_FINE      8
#define PLANISH_GRID_PEAK_HALF_TAPS 7
#define PLANISH_GRID_PEAK_TAPS      (2 * PLANISH_GRID_PEAK_HALF_TAPS + 1)

/* weights[FINE + f][j] weighs sample i + j - HALF_TAPS for the value at i + f / FINE. */
typedef struct {
  float weights[2 * PLANISH_GRID_PEAK_FINE + 1][PLANISH_GRID_PEAK_TAPS];
} PlanishGridPeakKernel;

typedef struct {
  double magnitude; /* 0 for silence */
  double place;     /* in samples of the grid, with fraction */
} PlanishGridPeak;

void planish_grid_peak_design(PlanishGridPeakKernel *kernel);

/* The peak of `points` samples; PLANISH_GRID_PEAK_HALF_TAPS more before and after them are read. */
PlanishGridPeak planish_grid_peak_find(const PlanishGridPeakKernel *kernel, const float *from,
                                       size_t points);

#endif
