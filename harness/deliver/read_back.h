/* A delivered file read back from the disk: measured, and held against what it was to be.
 *
 * Thread: one at a time a file. Errors: PLANISH_BAD_FILE where it cannot be read, which it was
 * written for. */
#ifndef PLANISH_HARNESS_READ_BACK_H
#define PLANISH_HARNESS_READ_BACK_H

#include "harness/deliver/delivered_file.h"
#include "harness/deliver/overs.h"
#include "harness/deliver/source.h"

typedef struct {
  PlanishMeasurement measured;
  PlanishOvers overs; /* of coded formats; its ceiling is to be set */
} PlanishReadBack;

/* Measures the finished file. `tell` may be NULL. */
bool planish_read_back_sound(const PlanishDeliveredFile *file, bool coded, PlanishReadBack *back,
                             PlanishSourceTell tell, void *user, PlanishError *error);

/* Whether every field that the format carries reads as it was given. `lacking`: the first that does
 * not. */
bool planish_read_back_metadata(const PlanishDeliveredFile *file,
                                const PlanishDeliveredFileJob *job, PlanishMetadataField *lacking);

#endif
