/* Stereo sound at another sample rate, by libsoxr at its very high quality (28 bit, linear phase,
 * flat up to 0.91 of the lower half rate).
 *
 * The sound is pulled from a source, block by block; memory does not grow with it. The result lines
 * up with the source (its first frame is at the same time) and has exactly
 * planish_converted_frames() frames. The same source gives the same result, however it is read.
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_RATE_CONVERTER_H
#define PLANISH_HARNESS_RATE_CONVERTER_H

#include "harness/base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct PlanishRateConverter PlanishRateConverter;

/* Gives up to `frames` of the next frames; `got` is how many, 0 at the end. */
typedef bool (*PlanishRateSource)(void *user, float *interleaved, size_t frames, size_t *got,
                                  PlanishError *error);

/* How many frames `frames` at the rate `from` become at the rate `to` (both whole Hz, > 0), to the
 * nearest and at least 1. */
uint64_t planish_converted_frames(uint64_t frames, double from, double to);

/* For a source of `frames` frames that begins where its next frame is. */
PlanishRateConverter *planish_rate_converter_new(double from, double to, uint64_t frames,
                                                 PlanishRateSource source, void *user,
                                                 PlanishError *error);
/* NULL is allowed. */
void planish_rate_converter_free(PlanishRateConverter *converter);

/* The next frames; fewer than asked for only at the end. What the converter makes are doubles;
 * read() rounds them to floats. */
bool planish_rate_converter_read_double(PlanishRateConverter *converter, double *interleaved,
                                        size_t frames, size_t *got, PlanishError *error);
bool planish_rate_converter_read(PlanishRateConverter *converter, float *interleaved, size_t frames,
                                 size_t *got, PlanishError *error);

#endif
