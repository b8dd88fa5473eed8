/* Several readers one after the other, as one: for the reader alone (audio_reader.h). Thread: one
 * at a time an object. */
#ifndef PLANISH_HARNESS_JOINED_H
#define PLANISH_HARNESS_JOINED_H

#include "harness/audio/audio_reader.h"

typedef struct {
  PlanishReader **parts;
  size_t count;
  size_t now;  /* the part that is read */
  uint64_t at; /* next frame of it */
} PlanishJoined;

/* Opens each of `paths` with `options`. PLANISH_BAD_AUDIO where their rates differ.
 * planish_joined_free() gives back what is there, also on failure. */
bool planish_joined_open(PlanishJoined *joined, const char *const *paths, size_t count,
                         const PlanishReaderOptions *options, PlanishError *error);
void planish_joined_free(PlanishJoined *joined);

uint64_t planish_joined_frames(const PlanishJoined *joined);

/* As those of the reader. */
bool planish_joined_seek(PlanishJoined *joined, uint64_t frame, PlanishError *error);
bool planish_joined_read(PlanishJoined *joined, float *interleaved, size_t frames, size_t *got,
                         PlanishError *error);

#endif
