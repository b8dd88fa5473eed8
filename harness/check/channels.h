/* What left and right have to do with each other: the levels of both, in K-weighting (ITU-R
 * BS.1770-4) as the ear balances them, how alike they are over the whole band, and under 150 Hz,
 * where a mix has its kick and bass in the middle.
 *
 * Thread: one at a time an object. Real-time safe. */
#ifndef PLANISH_HARNESS_CHANNELS_H
#define PLANISH_HARNESS_CHANNELS_H

#include "common/dsp/eq_design.h"
#include "common/dsp/k_weighting.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Sums of products. */
typedef struct {
  double left;
  double right;
  double both;
} PlanishChannelSums;

typedef struct {
  PlanishKWeightingCoefs coefs;
  PlanishKWeighting k[2];
  PlanishEqSections low_pass;
  PlanishSvf low_filter[PLANISH_EQ_MAX_SECTIONS];
  uint64_t frames;
  PlanishChannelSums whole;
  PlanishChannelSums low;
  double weighted[2];
  double sum[2];
  bool differ; /* some frame has two values */
} PlanishChannels;

/* Rate 8000..384000 Hz. Uses libm. */
void planish_channels_reset(PlanishChannels *channels, double rate);

void planish_channels_process(PlanishChannels *channels, const float *interleaved, size_t frames);

/* -1..1; NAN where a channel is silent. */
double planish_channels_correlation(const PlanishChannelSums *sums);

/* LU, left over right; infinite or NAN where one is silent. */
double planish_channels_balance(const PlanishChannels *channels);

/* dBFS, mean square of a channel; PLANISH_SILENCE_DB for silence. */
double planish_channels_level(const PlanishChannels *channels, int channel);

/* Mean of a channel's samples. */
double planish_channels_offset(const PlanishChannels *channels, int channel);

#endif
