/* The dynamics stage in a driver, and its gain read off frame by frame. */
#ifndef PLANISH_TESTS_DYNAMICS_FIXTURE_H
#define PLANISH_TESTS_DYNAMICS_FIXTURE_H

#include "common/dsp/maths.h"
#include "tests/unit/linked_gain.h"
#include "ttl/dynamics_ports.h"

#include <math.h>
#include <stdio.h>

static inline void dynamics_run(StageDriver *driver, const double *left, const double *right,
                                double *left_out, double *right_out, size_t frames)
{
  const double *const in[2] = {left, right};
  double *const out[2] = {left_out, right_out};
  stage_driver_run(driver, in, out, right ? 2 : 1, frames);
}

static inline double *dynamics_sine(size_t frames, double hz, double peak_db, double phase)
{
  double *x = malloc(frames * sizeof(double));
  for (size_t n = 0; n < frames; ++n) {
    x[n] = pow(10.0, peak_db / 20.0) * sin(2.0 * PLANISH_PI * hz / 48000.0 * (double)n + phase);
  }
  return x;
}

/* -1..1 */
static inline double dynamics_noise(uint64_t *seed)
{
  *seed = *seed * 6364136223846793005u + 1442695040888963407u;
  return (double)(*seed >> 11) / 4503599627370496.0 - 1.0;
}

#endif
