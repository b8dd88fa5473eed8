/* The largest of some values; of none, 0.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_LARGEST_H
#define PLANISH_DSP_LARGEST_H

#include <stdint.h>

/* Or 0, if none is larger. */
double planish_largest(const double *values, uint32_t count);

double planish_largest_magnitude(const double *values, uint32_t count);

#endif
