/* The master that is delivered: a 32-bit float file, read once through to know it, then as often
 * as files are made of it, at any rate, in doubles.
 *
 * Refused (PLANISH_BAD_AUDIO) beside what no mix can be (audio/audio_reader.h): a master in words
 * of 24 bit or less, which has had its dither, or one that was coded with loss.
 *
 * Digital black ahead of the first sound and after the last stays black at another rate: there the
 * converter's ringing, once it is under half a step of 24 bit, is taken as what it came from.
 *
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_SOURCE_H
#define PLANISH_HARNESS_SOURCE_H

#include "harness/base/error.h"
#include "harness/measure/measure.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Is told what is done, and how much of it; as PlanishProgress takes it (program/progress.h). */
typedef void (*PlanishSourceTell)(void *user, const char *what, unsigned number, double share);

/* Takes frames, the two samples of a frame side by side. */
typedef bool (*PlanishSourceSink)(void *user, const double *interleaved, size_t frames,
                                  PlanishError *error);

typedef struct PlanishSource PlanishSource;

/* Reads the master through. `tell` may be NULL. */
PlanishSource *planish_source_new(const char *path, PlanishSourceTell tell, void *user,
                                  PlanishError *error);

/* Several masters that run on one into the next. All of them are one source, or one of them is,
 * which then begins and ends at another rate as the whole of them runs on there. */
typedef struct {
  const char *const *paths;
  size_t count;
  size_t own;        /* which; PLANISH_SOURCE_ALL: all */
  const char *named; /* the path that it goes by; NULL: its own, or that of the first */
  uint64_t from;     /* of all: from this frame on ... */
  uint64_t frames;   /* ... so many; 0: to the end */
} PlanishSourceRun;
#define PLANISH_SOURCE_ALL SIZE_MAX

PlanishSource *planish_source_new_of_run(const PlanishSourceRun *run, PlanishSourceTell tell,
                                         void *user, PlanishError *error);
/* NULL is allowed. */
void planish_source_free(PlanishSource *source);

const char *planish_source_path(const PlanishSource *source);
double planish_source_rate(const PlanishSource *source);  /* Hz */
bool planish_source_is_mono(const PlanishSource *source); /* both channels are alike then */

/* How many frames it has at a rate. */
uint64_t planish_source_frames(const PlanishSource *source, double rate);

/* What is measured of it at a rate, before anything is made of it. Measured once a rate. */
bool planish_source_measure(PlanishSource *source, double rate, PlanishMeasurement *measured,
                            PlanishError *error);

/* Hands all of it to `sink` at a rate, times `gain`, and black after it up to `frames` frames. */
bool planish_source_play(PlanishSource *source, double rate, double gain, uint64_t frames,
                         PlanishSourceSink sink, void *user, const char *what, PlanishError *error);

#endif
