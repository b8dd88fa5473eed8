/* A file of a spec's format: whole, or not at all.
 *
 * It is written under another name beside its place (base/temporary_file.h), with its metadata
 * ahead of the sound; finish() makes it whole there, so that it can be read back, and commit() puts
 * it in its place. free() without that leaves nothing. The same sound and metadata give the same
 * bytes, but in Ogg, whose streams have a random number.
 *
 * Errors: PLANISH_BAD_FILE, in one line. Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_DELIVERED_FILE_H
#define PLANISH_HARNESS_DELIVERED_FILE_H

#include "harness/deliver/spec.h"

typedef struct {
  const char *path;
  const PlanishSpec *spec;
  const PlanishMetadata *metadata; /* all there is, with the spec's own */
  const PlanishBext *bext;         /* where the spec has it */
  double rate;                     /* Hz, whole */
  uint64_t frames;                 /* that will be written */
} PlanishDeliveredFileJob;

typedef struct PlanishDeliveredFile PlanishDeliveredFile;

/* What the job points to must stay. */
PlanishDeliveredFile *planish_delivered_file_new(const PlanishDeliveredFileJob *job,
                                                 PlanishError *error);

/* Frames of two samples. Fits PlanishSourceSink (source.h). */
bool planish_delivered_file_write(void *file, const double *interleaved, size_t frames,
                                  PlanishError *error);

/* To be called once, after the last write. */
bool planish_delivered_file_finish(PlanishDeliveredFile *file, PlanishError *error);

/* Of the finished file: for reading it, its other name, and a descriptor that is open for reading
 * and writing. */
const char *planish_delivered_file_temporary(const PlanishDeliveredFile *file);
int planish_delivered_file_descriptor(const PlanishDeliveredFile *file);

/* Its place. */
const char *planish_delivered_file_path(const PlanishDeliveredFile *file);

/* Samples beyond full scale that words could not hold. */
uint64_t planish_delivered_file_clipped(const PlanishDeliveredFile *file);

/* Puts the finished file in its place once it is on the disk. */
bool planish_delivered_file_commit(PlanishDeliveredFile *file, PlanishError *error);

/* NULL is allowed. */
void planish_delivered_file_free(PlanishDeliveredFile *file);

#endif
