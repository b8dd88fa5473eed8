/* A stretch of a track as a FLAC file in memory.
 *
 * Words of 24 bit are rounded: what came from 24 bit comes out the same. Shorter words get
 * triangular dither (dither.h) and fill the upper bits. What is over full scale is kept by turning
 * the whole down, by `gain`, the same for all excerpts of a version.
 * Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_EXCERPT_H
#define PLANISH_HARNESS_EXCERPT_H

#include "harness/audio/track.h"

#include <stdio.h>

typedef struct {
  unsigned char *bytes; /* free() gives them back */
  size_t size;
} PlanishExcerpt;

typedef struct {
  PlanishTrack *track;
  double rate;    /* Hz, whole */
  double gain;    /* a factor, at most 1 */
  unsigned bits;  /* 16 to 24 */
  uint64_t first; /* frame */
  uint64_t frames;
} PlanishExcerptJob;

/* PLANISH_BAD_FILE where the track cannot be read, or memory is short. */
bool planish_excerpt_make(PlanishExcerpt *excerpt, const PlanishExcerptJob *job,
                          PlanishError *error);

/* Writes it in base64 (RFC 4648, 4). */
void planish_excerpt_write(const PlanishExcerpt *excerpt, FILE *out);

#endif
