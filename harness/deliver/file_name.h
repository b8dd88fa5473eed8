/* The name of a delivered file, made of a pattern: text with what stands in braces filled in.
 *
 *   {master}  the master's name without folder and ending     {spec}  the spec's name
 *   {title} {artist} {album} {year} {isrc}  metadata          {track}  of two digits at least
 *
 * A name never leaves the folder that it is for, is never hidden, and has at most 255 bytes: what
 * would make it so is refused, not mended. Thread: any. */
#ifndef PLANISH_HARNESS_FILE_NAME_H
#define PLANISH_HARNESS_FILE_NAME_H

#include "harness/base/error.h"
#include "harness/deliver/metadata.h"

#define PLANISH_FILE_NAME_PATTERN "{master}-{spec}"

/* Whether a pattern can be filled in at all. PLANISH_BAD_USE, in one line that begins "name:". */
bool planish_file_name_check(const char *pattern, PlanishError *error);

/* A path's name without folder and ending; free() gives it back, NULL without memory. */
char *planish_file_name_stem(const char *path);

/* The name with `ending`; free() gives it back. NULL with PLANISH_BAD_USE where it cannot be one.
 */
char *planish_file_name_new(const char *pattern, const char *master, const char *spec,
                            const PlanishMetadata *metadata, const char *ending,
                            PlanishError *error);

#endif
