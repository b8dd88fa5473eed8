/* A check (check.h) of a file, from its first frame to its last, as it stands there.
 * Errors: those of reading, PLANISH_INTERRUPTED. Thread: as check.h. */
#ifndef PLANISH_HARNESS_CHECK_FILE_H
#define PLANISH_HARNESS_CHECK_FILE_H

#include "harness/check/check.h"

/* `told` is told how much of it is read, 0..1; may be NULL. */
bool planish_check_file(const char *path, bool silence_bad, void (*told)(void *user, double share),
                        void *user, PlanishCheckResult *result, PlanishError *error);

#endif
