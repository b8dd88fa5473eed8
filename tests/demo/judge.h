/* Judges a finished master with instruments that the program does not use. */
#ifndef PLANISH_TESTS_JUDGE_H
#define PLANISH_TESTS_JUDGE_H

#include "tests/unit/reconstruct.h"

#include <ebur128.h>

/* LUFS, integrated, by libebur128. */
static inline double judged_loudness(const float *samples, size_t frames, int rate)
{
  ebur128_state *meter = ebur128_init(2, (unsigned long)rate, EBUR128_MODE_I);
  double loudness = 0.0;
  ebur128_add_frames_float(meter, samples, frames);
  ebur128_loudness_global(meter, &loudness);
  ebur128_destroy(&meter);
  return loudness;
}

/* dBTP, of both channels, by 32 times reconstruction of the whole. */
static inline double judged_true_peak(const float *samples, size_t frames)
{
  double *channel = malloc(frames * sizeof *channel);
  double highest = -HUGE_VAL;
  for (size_t c = 0; c < 2; ++c) {
    for (size_t n = 0; n < frames; ++n) {
      channel[n] = (double)samples[2 * n + c];
    }
    highest = fmax(highest, reconstruct_peak_db(channel, frames));
  }
  free(channel);
  return highest;
}

#endif
