/* What a delivered file says of itself: title, artist, album, track, year, comment, ISRC.
 *
 * Text is UTF-8. Nothing is ever cut: a value that cannot be is refused when it is given, and what
 * a container cannot carry is told (coding.h says which carries what). Thread: one at a time an
 * object. */
#ifndef PLANISH_HARNESS_METADATA_H
#define PLANISH_HARNESS_METADATA_H

#include "harness/base/error.h"

typedef enum {
  PLANISH_METADATA_TITLE,
  PLANISH_METADATA_ARTIST,
  PLANISH_METADATA_ALBUM,
  PLANISH_METADATA_TRACK, /* 1 to 999 */
  PLANISH_METADATA_YEAR,  /* four digits */
  PLANISH_METADATA_COMMENT,
  PLANISH_METADATA_ISRC, /* isrc.h */
  PLANISH_METADATA_FIELDS,
} PlanishMetadataField;

/* Longer texts are none that a player shows; headers have room for all fields of this length. */
#define PLANISH_METADATA_BYTES 1000

typedef struct {
  char *text[PLANISH_METADATA_FIELDS]; /* NULL: not given */
} PlanishMetadata;

/* As specs and the command line name them, and messages. */
extern const char *const planish_metadata_names[PLANISH_METADATA_FIELDS];

/* Whether a field tells of one recording, so that two files cannot have the same. */
bool planish_metadata_is_of_one(PlanishMetadataField field);

/* Puts a value in, over one that is there: a number or an ISRC in the spelling that files have.
 * PLANISH_BAD_USE where it cannot be, in one line that begins with the field's name. */
bool planish_metadata_set(PlanishMetadata *metadata, PlanishMetadataField field, const char *text,
                          PlanishError *error);

/* The same of FIELD=VALUE. */
bool planish_metadata_set_pair(PlanishMetadata *metadata, const char *pair, PlanishError *error);

/* Puts all values of `from` in, over those that are there. */
bool planish_metadata_add(PlanishMetadata *metadata, const PlanishMetadata *from,
                          PlanishError *error);

/* Whether a text is plain ASCII. */
bool planish_metadata_is_ascii(const char *text);

void planish_metadata_release(PlanishMetadata *metadata);

#endif
