/* What costs are measured with and held against. */
#ifndef PLANISH_TESTS_YARDSTICK_H
#define PLANISH_TESTS_YARDSTICK_H

#include "common/dsp/biquad.h"
#include "tests/frame/takes.h"

#include <time.h>

/* CPU time of this thread: what other processes take is not counted. */
static inline double seconds(void)
{
  struct timespec now;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Of a plain stereo biquad over `in`. */
static inline double biquad_time(const Audio *in)
{
  static volatile double sink;
  static const PlanishBiquadCoefs coefs = {1.044, -1.895, 0.868, -1.895, 0.912};
  PlanishBiquad state[2] = {{0.0, 0.0}, {0.0, 0.0}};
  double sum = 0.0;
  const double start = seconds();
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < in->frames; ++n) {
      sum += planish_biquad_process(&state[c], &coefs, (double)in->channel[c][n]);
    }
  }
  sink = sum;
  (void)sink;
  return seconds() - start;
}

#endif
