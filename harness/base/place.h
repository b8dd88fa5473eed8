/* Where a file is to be written, or stands to be read.
 *
 * Thread: any. */
#ifndef PLANISH_HARNESS_PLACE_H
#define PLANISH_HARNESS_PLACE_H

#include "harness/base/error.h"

#include <stdbool.h>

/* True: a file may be written there, new or over another. PLANISH_BAD_FILE where something else
 * stands (a folder, a device, a pipe, a link that leads nowhere), the file may not be written, or
 * its folder is not there. */
bool planish_place_check(const char *path, PlanishError *error);

/* Whether what stands there may be written over because it was written by this program: a line of
 * it begins so. True also where nothing is there. */
bool planish_place_is_ours(const char *path, const char *line);

/* What stood in the way of a write there, and what to do, for the end of a message: by errno; 0
 * where only a part was taken. */
const char *planish_place_advice(int reason);

/* The same of a read. */
const char *planish_place_read_advice(int reason);

/* The path with symbolic links followed, so that a file that is renamed to it leaves them as they
 * are; the path itself if nothing is there yet. To be freed; NULL: no memory. */
char *planish_place_real(const char *path);

/* Whether both name the same file, by whatever name, there or not yet. */
bool planish_place_same(const char *a, const char *b);

#endif
