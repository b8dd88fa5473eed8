/* Digests of files, by which the same are known again: SHA-256 (FIPS 180-4).
 *
 * That of the samples is over what a file sounds like, whatever header and word length hold it: the
 * samples as 32-bit floats (IEEE 754, low byte first), left and right in turn, mono as dual mono,
 * -0 as 0. Rate and length stand beside it.
 *
 * Errors: those of PlanishReader. Thread: any, one at a time a file. */
#ifndef PLANISH_HARNESS_DIGEST_H
#define PLANISH_HARNESS_DIGEST_H

#include "harness/base/error.h"
#include "harness/sheet/recall_note.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct {
  char file[PLANISH_DIGEST_TEXT];
  char samples[PLANISH_DIGEST_TEXT];
  double rate; /* Hz */
  uint64_t frames;
} PlanishSoundDigest;

/* Reads the file twice. `silence_bad` as of PlanishReaderOptions. */
bool planish_sound_digest(const char *path, bool silence_bad, PlanishSoundDigest *digest,
                          PlanishError *error);

/* That of the samples alone of a part of a file: `frames` from `from` on. */
bool planish_sound_digest_part(const char *path, uint64_t from, uint64_t frames,
                               char samples[PLANISH_DIGEST_TEXT], PlanishError *error);

/* That of the samples of several mixes one after the other, which need not have the same rate. */
bool planish_sound_digest_stream(const char *const *paths, size_t count,
                                 char samples[PLANISH_DIGEST_TEXT], PlanishError *error);

void planish_text_digest(const char *text, size_t size, char digest[PLANISH_DIGEST_TEXT]);

/* What there is to say of a file against what was noted of it. */
typedef enum {
  PLANISH_SOUND_SAME,      /* every byte */
  PLANISH_SOUND_REWRITTEN, /* the same samples in other bytes: a header, another word length */
  PLANISH_SOUND_CHANGED,
} PlanishSoundMatch;

PlanishSoundMatch planish_sound_match(const PlanishRecallSound *noted,
                                      const PlanishSoundDigest *digest);

#endif
