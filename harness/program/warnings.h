/* What an engineer should know of what was done all the same: on standard error, a line each.
 * Thread: main. */
#ifndef PLANISH_HARNESS_WARNINGS_H
#define PLANISH_HARNESS_WARNINGS_H

#include "harness/render/master.h"

/* Of samples of a file that were no number, and taken as silence (--silence-bad); none: nothing. */
void planish_warn_of_silenced(const char *name, uint64_t samples);

/* Of a file whose header promises more than there is. */
void planish_warn_of_cut(const char *name, bool is_cut);

/* Of the mix, and of how it was rendered: once, however many masters were made. */
void planish_warn_of_mix(const PlanishMasterJob *job, const PlanishMasterReport *report);

/* Of a file that was written as `out`. */
void planish_warn_of_clipping(const char *out, uint64_t samples);

/* Of a price that ruins: extra drive, distortion over the mask. `out` NULL: not named, there is one
 * master. */
void planish_warn_of_price(const char *out, const PlanishMasterReport *report);

#endif
