/* The specs that come with the program, found by name: files NAME.yaml beside each other, under
 * PLANISH_SPECS, share/planish/delivery of the program's own prefix, or where it was installed.
 * Thread: main. */
#ifndef PLANISH_HARNESS_READY_MADE_H
#define PLANISH_HARNESS_READY_MADE_H

#include "harness/base/error.h"

#include <stddef.h>

/* The path of the spec that `given` is: a ready-made one by its name, else the file of that name.
 * What holds a slash or ends in .yaml or .yml is a file. free() gives it back. NULL with
 * PLANISH_BAD_USE where it is neither, with the nearest name. */
char *planish_ready_made_find(const char *given, PlanishError *error);

/* The names, sorted; planish_ready_made_free() gives them back. NULL where there are none. */
char **planish_ready_made_names(size_t *count);
void planish_ready_made_free(char **names, size_t count);

#endif
