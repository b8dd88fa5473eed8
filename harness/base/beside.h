/* A short text that stands beside a file of sound and takes its place with it: both or neither.
 *
 * Written and on the disk under another name first (temporary_file.h). commit() puts it in its
 * place and remembers what stood there; undo() gives that back, where the file that it belongs to
 * could not follow.
 *
 * Errors: PLANISH_BAD_FILE, in one line. Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_BESIDE_H
#define PLANISH_HARNESS_BESIDE_H

#include "harness/base/error.h"
#include "harness/base/temporary_file.h"

#include <stdbool.h>
#include <stddef.h>

/* Zeroed: there is none, and every function but new() does nothing. */
typedef struct {
  char *path; /* symbolic links followed; NULL: none */
  PlanishTemporaryFile temporary;
  char *former; /* what stood there before commit(); NULL: nothing */
  size_t former_size;
} PlanishBeside;

/* On failure there is nothing to release. */
bool planish_beside_new(PlanishBeside *beside, const char *path, const char *text, size_t size,
                        PlanishError *error);
bool planish_beside_commit(PlanishBeside *beside, PlanishError *error);
void planish_beside_undo(PlanishBeside *beside);
/* What was not committed is gone. */
void planish_beside_release(PlanishBeside *beside);

#endif
