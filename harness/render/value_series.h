/* What stages reported over time, in few points: for each control output of each stage but the
 * latency, the lowest and the highest value within each stretch of the file.
 *
 * A stretch is PLANISH_SERIES_STRETCH long, longer where a file would have more than
 * PLANISH_SERIES_POINTS of them, so that memory does not grow with the file. A value is reported
 * once a block of at most PLANISH_CHAIN_BLOCK frames (chain.h), lined up with the mix, and counts
 * for every stretch that its block touches.
 *
 * Thread: one at a time an object; what take() is given of different stages, at once. */
#ifndef PLANISH_HARNESS_VALUE_SERIES_H
#define PLANISH_HARNESS_VALUE_SERIES_H

#include "harness/render/tap.h"
#include "harness/sheet/sheet.h"

#define PLANISH_SERIES_STRETCH 0.05 /* s */
#define PLANISH_SERIES_POINTS  4000

typedef struct {
  float lowest; /* NAN: nothing was reported */
  float highest;
} PlanishSeriesPoint;

/* Of one control output. */
typedef struct {
  uint32_t stage; /* index */
  uint32_t port;  /* index */
  PlanishSeriesPoint *points;
} PlanishSeries;

typedef struct {
  uint64_t frames;  /* of the file */
  uint64_t stretch; /* frames a point; the last may be shorter */
  uint32_t points;  /* in each series */
  uint32_t count;
  PlanishSeries *series; /* in the order of stages and ports */
} PlanishSeriesSet;

/* For `frames` frames (> 0) at `rate` Hz through the sheet's stages. NULL without memory. */
PlanishSeriesSet *planish_series_new(const PlanishSheet *sheet, double rate, uint64_t frames,
                                     PlanishError *error);
/* NULL is allowed. */
void planish_series_free(PlanishSeriesSet *set);

/* Fits PlanishReportedTaken; `set` is the PlanishSeriesSet. */
void planish_series_take(void *set, const PlanishReported *reported);

/* The series of a control output by its symbol; NULL: there is none. */
const PlanishSeries *planish_series_find(const PlanishSeriesSet *set, const PlanishSheet *sheet,
                                         uint32_t stage, const char *symbol);

/* Where a value was farthest from 0, the farthest first: up to `wanted` points, none within `apart`
 * frames of another, none that is 0. `places` gets indices of points; returns how many. */
uint32_t planish_series_hardest(const PlanishSeriesSet *set, const PlanishSeries *series,
                                uint32_t wanted, uint64_t apart, uint32_t *places);

#endif
