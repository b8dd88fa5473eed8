/* The chunks of a Broadcast Wave file: bext (EBU Tech 3285 v2) and axml (its supplement 5), the
 * latter with an ISRC as EBU Tech 3352 has it.
 *
 * Thread: one at a time a file. Errors: PLANISH_BAD_FILE. */
#ifndef PLANISH_HARNESS_BEXT_H
#define PLANISH_HARNESS_BEXT_H

#include "harness/base/error.h"
#include "harness/measure/measure.h"

#include <stdint.h>

/* Lengths of the fields, which are ASCII and need no end when they are full. */
enum {
  PLANISH_BEXT_DESCRIPTION = 256,
  PLANISH_BEXT_ORIGINATOR = 32,
  PLANISH_BEXT_REFERENCE = 32,
  PLANISH_BEXT_DATE = 10, /* 2026-11-26 */
  PLANISH_BEXT_TIME = 8,  /* 13:45:00 */
};

typedef struct {
  char description[PLANISH_BEXT_DESCRIPTION + 1];
  char originator[PLANISH_BEXT_ORIGINATOR + 1];
  char reference[PLANISH_BEXT_REFERENCE + 1];
  char date[PLANISH_BEXT_DATE + 1];
  char time[PLANISH_BEXT_TIME + 1];
} PlanishBext;

/* Loudness as the chunk has it: hundredths, rounded; PLANISH_BEXT_UNKNOWN where there is none. */
#define PLANISH_BEXT_UNKNOWN 0x7fff
typedef struct {
  int16_t loudness;  /* LUFS */
  int16_t range;     /* LU */
  int16_t true_peak; /* dBTP, largest */
  int16_t momentary; /* LUFS, largest */
  int16_t shortterm; /* LUFS, largest */
} PlanishBextLoudness;

PlanishBextLoudness planish_bext_loudness_of(const PlanishMeasurement *measured);

/* Puts the loudness into the bext chunk of a WAV or RF64 file that is written and closed. */
bool planish_bext_put_loudness(int descriptor, const PlanishBextLoudness *loudness,
                               PlanishError *error);

/* Puts the bits of a word into the first line of the chunk's coding history, in place of what
 * libsndfile writes there, which calls floats 24 bit. 10 to 99. */
bool planish_bext_put_word(int descriptor, unsigned bits, PlanishError *error);

/* Reads it; false where the file has no such chunk, or an older one. */
bool planish_bext_get_loudness(int descriptor, PlanishBextLoudness *loudness);

/* The axml chunk of an ISRC, of whole groups of four bytes; free() gives it back, NULL without
 * memory.
 */
char *planish_axml_of_isrc(const char *isrc);

/* Whether a file's axml chunk holds that ISRC. */
bool planish_axml_has_isrc(int descriptor, const char *isrc);

#endif
