/* What a stage does to an impulse or a tone, measured through the LV2 ABI. */
#ifndef PLANISH_TESTS_RESPONSE_H
#define PLANISH_TESTS_RESPONSE_H

#include "tests/frame/takes.h"

#include <complex.h>

/* Level that the stage must keep within, over a stretch of frequencies. */
typedef struct {
  double from; /* Hz */
  double to;
  double least; /* dB */
  double most;
} Mask;

/* Left channel's answer to an impulse of `height` on both channels; free it with audio_free. */
Audio response_to_impulse(const Take *take, uint32_t frames, float height);

/* The spectrum of an impulse response at one frequency, re the impulse. */
double complex response_at(const Audio *answer, int channel, double height, double rate, double hz);

/* dB of the above. */
double response_level(const Audio *answer, int channel, double height, double rate, double hz);

/* Amplitude of a tone's line in the frames from `from` on, over a whole number of periods. */
double line_of(const Audio *audio, int channel, uint32_t from, uint32_t frames, double turns);

/* The same for all lines at once: lines[k] is the amplitude at k periods in `frames`, k up to
 * frames/2. */
void lines_of(const Audio *audio, int channel, uint32_t from, uint32_t frames, double *lines);

#endif
