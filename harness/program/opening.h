/* What most commands begin with: the host of the bundle, a sheet. Thread: main. */
#ifndef PLANISH_HARNESS_OPENING_H
#define PLANISH_HARNESS_OPENING_H

#include "harness/sheet/sheet.h"

/* The host of the bundle that `option` (--bundle) names, or of the one that is found
 * (host/bundle.h). NULL on failure; planish_host_free() gives it back. */
PlanishHost *planish_opening_host(const char *option, PlanishError *error);

/* The sheet at a path; its mistakes are printed on standard error, a line each, and `error` gets
 * the outcome but no text. `audition` as in planish_sheet_read(). */
PlanishSheet *planish_opening_sheet(const char *path, PlanishHost *host, bool audition,
                                    PlanishError *error);

/* The same of one of its variants. */
PlanishSheet *planish_opening_variant(const char *path, const char *name, PlanishHost *host,
                                      bool audition, PlanishError *error);

#endif
