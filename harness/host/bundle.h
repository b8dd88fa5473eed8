/* Where the bundle of stages is.
 *
 * Looked for in this order, the first that is named or there is taken:
 *   1. the option (--bundle FOLDER)
 *   2. the environment's PLANISH_BUNDLE
 *   3. ../lv2/planish.lv2 beside the folder of the running program (the build tree)
 *   4. ../lib/lv2/planish.lv2 likewise (as installed)
 *   5. the folder that the build was configured for (meson option lv2dir)
 * Thread: main. */
#ifndef PLANISH_HARNESS_BUNDLE_H
#define PLANISH_HARNESS_BUNDLE_H

#include "harness/base/error.h"

/* The absolute path of the bundle's folder, without a slash at its end; free() gives it back.
 * `option` may be NULL. NULL with PLANISH_BAD_USE where no folder with a manifest.ttl is found. */
char *planish_bundle_find(const char *option, PlanishError *error);

#endif
