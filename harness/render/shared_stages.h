/* What two sheets have in common from the start of their chains. Thread: any. */
#ifndef PLANISH_HARNESS_SHARED_STAGES_H
#define PLANISH_HARNESS_SHARED_STAGES_H

#include "harness/sheet/sheet.h"

/* So many of the first stages do the same in both: the same effects, values and automation, in the
 * same branches; whole branches only. Names do not count. */
uint32_t planish_shared_stages(const PlanishSheet *one, const PlanishSheet *other);

#endif
