/* A file that is written under another name beside its target, and takes the target's place once it
 * is whole.
 *
 * The other name is hidden: .planish-HOST-PID-N.part. The file is locked (flock) for as long as its
 * writer lives; a program that was killed leaves one that is not, and the next on the same machine
 * that writes in the same folder removes it. Where a file system has no locks nothing is removed.
 *
 * Only the user may read it; once it is committed, whoever the umask lets.
 *
 * A target "-" (standard_streams.h) has no folder: its files stand in TMPDIR, else in /tmp.
 *
 * Errors: errno. Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_TEMPORARY_FILE_H
#define PLANISH_HARNESS_TEMPORARY_FILE_H

#include <stdbool.h>

typedef struct {
  char *path;     /* NULL: none was made, or it is in its target's place */
  int descriptor; /* open for reading and writing; -1: not open */
} PlanishTemporaryFile;

/* An empty file in the folder of `target`. On failure there is nothing to free, but free() may be
 * called. */
bool planish_temporary_file_new(PlanishTemporaryFile *file, const char *target);

/* The same without a name: whatever becomes of the program, nothing is left. */
bool planish_temporary_file_new_unnamed(PlanishTemporaryFile *file, const char *target);

/* Where that folder is, for messages: "beside TARGET", "in TMPDIR (/tmp)". free() gives it back;
 * NULL without memory. */
char *planish_temporary_file_where(const char *target);

/* Puts it in the target's place. */
bool planish_temporary_file_commit(PlanishTemporaryFile *file, const char *target);

/* Closes it, and removes it where it was not committed. To be called once after new(). */
void planish_temporary_file_free(PlanishTemporaryFile *file);

#endif
