/* Second-order filters (bilinear transform of the analog prototypes, as in Bristow-Johnson's audio
 * equaliser cookbook), transposed direct form II. One channel a filter. */
#ifndef PLANISH_DEMO_FILTER_H
#define PLANISH_DEMO_FILTER_H

#include <stddef.h>

typedef enum {
  PLANISH_DEMO_LOW_PASS,
  PLANISH_DEMO_HIGH_PASS,
  PLANISH_DEMO_BAND_PASS, /* 0 dB at its centre */
  PLANISH_DEMO_PEAKING,
  PLANISH_DEMO_LOW_SHELF,
  PLANISH_DEMO_HIGH_SHELF,
  PLANISH_DEMO_ALL_PASS
} PlanishDemoShape;

/* gain (dB) is of use to peaking and shelves alone; 0 < hertz < rate / 2; q > 0. */
typedef struct {
  PlanishDemoShape shape;
  double hertz;
  double q;
  double gain;
} PlanishDemoBand;

typedef struct {
  double b0, b1, b2, a1, a2;
  double s1, s2;
} PlanishDemoFilter;

/* Sets the coefficients and keeps the state. */
void planish_demo_filter_tune(PlanishDemoFilter *filter, PlanishDemoBand band, double rate);

/* A filter at rest, at the rate of the mix. */
PlanishDemoFilter planish_demo_filter(PlanishDemoShape shape, double hertz, double q, double gain);

enum { PLANISH_DEMO_MOST_BANDS = 12 };

/* The frames in place through `count` (up to PLANISH_DEMO_MOST_BANDS) bands one after the other,
 * each from rest. */
void planish_demo_filter_all(const PlanishDemoBand *bands, size_t count, double *signal,
                             size_t frames);

/* One frame; for loops that see to a filter's rest by themselves. */
static inline double planish_demo_filter_busy(PlanishDemoFilter *filter, double x)
{
  const double y = filter->b0 * x + filter->s1;
  filter->s1 = filter->b1 * x - filter->a1 * y + filter->s2;
  filter->s2 = filter->b2 * x - filter->a2 * y;
  return y;
}

/* A tail in denormals would cost a hundred times the time of a sounding one: end it. */
static inline void planish_demo_filter_settle(PlanishDemoFilter *filter)
{
  if (filter->s1 < 1e-30 && filter->s1 > -1e-30 && filter->s2 < 1e-30 && filter->s2 > -1e-30) {
    filter->s1 = 0.0;
    filter->s2 = 0.0;
  }
}

static inline double planish_demo_filter_process(PlanishDemoFilter *filter, double x)
{
  const double y = planish_demo_filter_busy(filter, x);
  planish_demo_filter_settle(filter);
  return y;
}

#endif
