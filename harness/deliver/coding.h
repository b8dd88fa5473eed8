/* The formats that can be delivered, and what each can hold.
 *
 * All are written by libsndfile; which fields of metadata it writes into which was found out by
 * reading its files with another library. Thread: any. */
#ifndef PLANISH_HARNESS_CODING_H
#define PLANISH_HARNESS_CODING_H

#include "harness/base/error.h"
#include "harness/deliver/metadata.h"

#include <stddef.h>
#include <stdint.h>

typedef enum {
  PLANISH_FORMAT_WAV, /* with `bext`: a Broadcast Wave file; RF64 where it must be */
  PLANISH_FORMAT_AIFF,
  PLANISH_FORMAT_FLAC,
  PLANISH_FORMAT_VORBIS, /* in Ogg */
  PLANISH_FORMAT_OPUS,   /* in Ogg */
  PLANISH_FORMAT_MP3,
  PLANISH_FORMATS,
} PlanishFormat;

typedef struct {
  const char *word;    /* in specs */
  const char *name;    /* for people */
  const char *ending;  /* of file names, with the point */
  bool coded;          /* with loss: no words, so neither bits nor dither */
  bool floating;       /* holds 32-bit float */
  const int *rates;    /* Hz, ended by 0; NULL: any up to most_rate */
  double most_rate;    /* Hz; 0: any that a master has */
  uint64_t most_bytes; /* of sound; 0: no limit that a master meets */
} PlanishCoding;

const PlanishCoding *planish_coding_of(PlanishFormat format);

/* The words, in order. */
extern const char *const planish_format_words[PLANISH_FORMATS];

/* The number that libsndfile knows a format by. `bits`: 16, 24, or 32 for float; of coded formats
 * it does not matter. `bytes` of sound decide whether WAV is RF64 (EBU Tech 3306). */
int planish_coding_number(PlanishFormat format, unsigned bits, uint64_t bytes);

/* Whether a format carries a field of metadata; `bext`: whether a WAV file has that chunk, beside
 * which an ISRC stands in the axml chunk. */
bool planish_coding_carries(PlanishFormat format, bool bext, PlanishMetadataField field);

/* What libsndfile calls a field; of an ISRC it knows nothing, 0. */
int planish_coding_string(PlanishMetadataField field);

/* Whether a format has that rate. Whole Hz. */
bool planish_coding_has_rate(PlanishFormat format, double rate);

/* A list of its rates for messages: "32000, 44100 or 48000", "at most 192000". */
void planish_coding_list_rates(PlanishFormat format, char *text, size_t size);

/* What another format is called that is not written here, and what to do: NULL if it is none that
 * is known. */
const char *planish_coding_not_written(const char *word);

#endif
