/* Running sums: what lies under each place of an axis, so that the mean over any stretch is a
 * difference of two of them.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_RUNNING_SUM_H
#define PLANISH_DSP_RUNNING_SUM_H

#include <stdint.h>

/* Goes on with a running sum from up[0] on: up[1..count] follow, to each of x[0..count-1] `each` is
 * added. Four at a time are added up on their own first, whichever way that is done. */
void planish_running_sum(double *restrict up, const float *restrict x, double each, uint32_t count);

#endif
