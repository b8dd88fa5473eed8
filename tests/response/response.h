/* What tests of responses share: masks, and the lines of a take's spectrum. */
#ifndef PLANISH_TESTS_RESPONSE_H
#define PLANISH_TESTS_RESPONSE_H

#include "harness/measure/spectrum.h"
#include "tests/frame/takes.h"

#include <stdlib.h>

/* Level that the stage must keep within, over a stretch of frequencies. */
typedef struct {
  double from; /* Hz */
  double to;
  double least; /* dB */
  double most;
} Mask;

/* Amplitude of a tone's line in the frames from `from` on, over a whole number of periods. */
static inline double line_of(const Audio *audio, int channel, uint32_t from, uint32_t frames,
                             double turns)
{
  return planish_spectrum_line(audio->channel[channel] + from, frames, turns);
}

/* The same for all lines at once: lines[k] is the amplitude at k periods in `frames` (even), k up
 * to frames/2. */
static inline void lines_of(const Audio *audio, int channel, uint32_t from, uint32_t frames,
                            double *lines)
{
  PlanishSpectrum *spectrum = planish_spectrum_new(frames);
  double complex *bins = malloc((frames / 2 + 1) * sizeof *bins);
  if (spectrum == NULL || bins == NULL) {
    abort();
  }
  planish_spectrum_forward(spectrum, audio->channel[channel] + from, bins);
  for (uint32_t k = 0; k <= frames / 2; ++k) {
    lines[k] = 2.0 * cabs(bins[k]) / frames;
  }
  planish_spectrum_free(spectrum);
  free(bins);
}

#endif
