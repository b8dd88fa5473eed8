/* The largest of some values; of none, 0.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_LARGEST_H
#define PLANISH_DSP_LARGEST_H

#include "common/dsp/four_lanes.h"
#include "common/dsp/maths.h"

/* Chains side by side: lanes of registers, whatever their size. */
enum { PLANISH_LARGEST_CHAINS = 4 };

PLANISH_INLINED double planish_largest_of_chains(const double *chains)
{
  double largest = chains[0];
  for (int k = 1; k < PLANISH_LARGEST_CHAINS; ++k) {
    largest = planish_max(chains[k], largest);
  }
  return largest;
}

/* Or 0, if none is larger. */
PLANISH_INLINED double planish_largest(const double *values, uint32_t count)
{
  double largest[PLANISH_LARGEST_CHAINS] = {0.0};
  uint32_t i = 0;
  for (; i + PLANISH_LARGEST_CHAINS <= count; i += PLANISH_LARGEST_CHAINS) {
    for (uint32_t k = 0; k < PLANISH_LARGEST_CHAINS; ++k) {
      largest[k] = planish_max(values[i + k], largest[k]);
    }
  }
  for (; i < count; ++i) {
    largest[0] = planish_max(values[i], largest[0]);
  }
  return planish_largest_of_chains(largest);
}

PLANISH_INLINED double planish_largest_magnitude(const double *values, uint32_t count)
{
  double largest[PLANISH_LARGEST_CHAINS] = {0.0};
  uint32_t i = 0;
  for (; i + PLANISH_LARGEST_CHAINS <= count; i += PLANISH_LARGEST_CHAINS) {
    for (uint32_t k = 0; k < PLANISH_LARGEST_CHAINS; ++k) {
      largest[k] = planish_max(fabs(values[i + k]), largest[k]);
    }
  }
  for (; i < count; ++i) {
    largest[0] = planish_max(fabs(values[i]), largest[0]);
  }
  return planish_largest_of_chains(largest);
}

#endif
