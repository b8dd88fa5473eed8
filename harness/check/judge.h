/* From what the detectors read to what is said. Each judge adds its findings to the result, whose
 * other parts are filled. For check.c alone. */
#ifndef PLANISH_HARNESS_JUDGE_H
#define PLANISH_HARNESS_JUDGE_H

#include "harness/check/band_edge.h"
#include "harness/check/channels.h"
#include "harness/check/check.h"
#include "harness/check/clicks.h"
#include "harness/check/gaps.h"
#include "harness/check/pauses.h"
#include "harness/check/peak_pile.h"

typedef struct {
  const PlanishClippedRuns *runs[2];
  const PlanishClicks *clicks;
  const PlanishGaps *gaps;
  const PlanishChannels *channels;
  const PlanishPauses *pauses;
  const PlanishPeakPile *pile;    /* of true peaks */
  const PlanishPeakPile *samples; /* of samples */
  PlanishBandEdgeFound edge;
  const PlanishPlaces *silenced; /* frames with samples that were no numbers */
  bool cut;
} PlanishReadings;

/* The file: broken off, no numbers, word length, rate, loss, noise. */
void planish_judge_source(const PlanishReadings *readings, PlanishCheckResult *result);

/* Silence, stereo, polarity, balance, DC. */
void planish_judge_channels(const PlanishReadings *readings, PlanishCheckResult *result);

/* Clipping, overs, headroom, limiting. */
void planish_judge_peaks(const PlanishReadings *readings, PlanishCheckResult *result);

/* Clicks, dropouts, black, head and tail; to be asked behind the judge of the channels. */
void planish_judge_places(const PlanishReadings *readings, PlanishCheckResult *result);

#endif
