/* Loudness range by the words of EBU Tech 3342, from a list of short-term loudness: gates of
 * -70 LUFS and of 20 LU under the mean power of what passes; from the 10th to the 95th percentile.
 */
#ifndef PLANISH_TESTS_RANGE_REFERENCE_H
#define PLANISH_TESTS_RANGE_REFERENCE_H

#include <math.h>
#include <stdlib.h>

/* A reading every 100 ms, in LUFS. */
typedef struct {
  double *loudness;
  size_t count;
} RangeReference;

static inline void range_reference_add(RangeReference *range, double loudness)
{
  range->loudness = realloc(range->loudness, (range->count + 1) * sizeof *range->loudness);
  range->loudness[range->count++] = loudness;
}

static inline int range_reference_by_value(const void *a, const void *b)
{
  const double x = *(const double *)a;
  const double y = *(const double *)b;
  return (x > y) - (x < y);
}

/* In a list from low to high. */
static inline size_t range_reference_first_over(const RangeReference *range, double gate)
{
  size_t n = 0;
  while (n < range->count && range->loudness[n] <= gate) {
    ++n;
  }
  return n;
}

/* Frees the list, which holds something over the gates. */
static inline double range_reference_finish(RangeReference *range)
{
  double *list = range->loudness;
  qsort(list, range->count, sizeof *list, range_reference_by_value);
  size_t first = range_reference_first_over(range, -70.0);
  double power = 0.0;
  for (size_t n = first; n < range->count; ++n) {
    power += pow(10.0, list[n] / 10.0) / (double)(range->count - first);
  }
  first = range_reference_first_over(range, fmax(-70.0, 10.0 * log10(power) - 20.0));
  const double last = (double)(range->count - first - 1);
  const double low = list[first + (size_t)(0.10 * last + 0.5)];
  const double high = list[first + (size_t)(0.95 * last + 0.5)];
  free(list);
  *range = (RangeReference){0};
  return high - low;
}

#endif
