/* A file read at another's time: moved by a delay, in whole frames or between them (windowed sinc,
 * 256 taps, -110 dB up to 0.95 of half the rate), silence before its start and after its end.
 *
 * Delays under PLANISH_SHIFTED_WHOLE off a whole number are taken as whole: the samples are then
 * those of the file. Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_SHIFTED_H
#define PLANISH_HARNESS_SHIFTED_H

#include "harness/audio/audio_reader.h"

#define PLANISH_SHIFTED_WHOLE 1e-5 /* frames */

typedef struct PlanishShifted PlanishShifted;

/* Frame n of the result is what `reader` has at n + delay. The reader is moved, and stays the
 * caller's. */
PlanishShifted *planish_shifted_new(PlanishReader *reader, double delay, PlanishError *error);
/* NULL is allowed. */
void planish_shifted_free(PlanishShifted *shifted);

/* The next `frames` frames. */
bool planish_shifted_read(PlanishShifted *shifted, float *interleaved, size_t frames,
                          PlanishError *error);

#endif
