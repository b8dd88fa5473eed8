/* A master at another rate: libsoxr's very high quality (audio/rate_converter.h) in doubles, with
 * digital black at head and tail kept (source.h). Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_CONVERT_H
#define PLANISH_HARNESS_CONVERT_H

#include "harness/audio/audio_reader.h"

typedef struct PlanishConvert PlanishConvert;

/* How many frames of digital black a file has at either end; all of it: frames and 0. */
typedef struct {
  uint64_t head;
  uint64_t tail;
} PlanishBlack;

/* From the reader's first frame on, which has no rate of its own given (audio_reader.h). */
PlanishConvert *planish_convert_new(PlanishReader *reader, double rate, PlanishBlack black,
                                    PlanishError *error);
/* NULL is allowed. */
void planish_convert_free(PlanishConvert *convert);

/* The next frames, at most PLANISH_CONVERT_BLOCK; none at the end. */
#define PLANISH_CONVERT_BLOCK 4096
bool planish_convert_read(PlanishConvert *convert, double *interleaved, size_t frames, size_t *got,
                          PlanishError *error);

#endif
