/* Metadata of FLAC files, as Vorbis comments, through libFLAC's metadata interface: the one way to
 * give them an ISRC. Thread: one at a time a file. */
#ifndef PLANISH_HARNESS_FLAC_TAGS_H
#define PLANISH_HARNESS_FLAC_TAGS_H

#include "harness/deliver/metadata.h"

/* Copies the FLAC file that `from` is open on to `to`, an empty one open for reading and writing,
 * with all fields of `metadata`, of which there is at least one, added to its comments. False with
 * errno, 0 where the library says no more. */
bool planish_flac_tags_write(int from, int to, const PlanishMetadata *metadata);

/* Whether each field of `metadata` stands in the file; `lacking` tells the first that does not. */
bool planish_flac_tags_has(int descriptor, const PlanishMetadata *metadata,
                           PlanishMetadataField *lacking);

#endif
