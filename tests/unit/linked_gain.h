/* The gain of a stage that gives both channels the same, read off frame by frame. */
#ifndef PLANISH_TESTS_LINKED_GAIN_H
#define PLANISH_TESTS_LINKED_GAIN_H

#include "tests/unit/stage_driver.h"

#include <math.h>
#include <stdlib.h>

/* The gain in dB that `x` leaves with, full band: a small constant beside it takes the same, as the
 * channels are linked. gain[n] belongs to the audio of frame n, and lasts to frames - latency. */
static inline void linked_gain(StageDriver *driver, const double *x, double *gain, size_t frames)
{
  const double probe = 1e-6;
  const uint32_t late = planish_stage.latency(48000.0, NULL);
  double *right = malloc(frames * sizeof(double));
  double *out = malloc(frames * sizeof(double));
  for (size_t n = 0; n < frames; ++n) {
    right[n] = probe;
  }
  const double *const in[2] = {x, right};
  double *const outs[2] = {out, gain};
  stage_driver_run(driver, in, outs, 2, frames);
  for (size_t n = 0; n + late < frames; ++n) {
    gain[n] = 20.0 * log10(gain[n + late] / probe);
  }
  free(right);
  free(out);
}

#endif
