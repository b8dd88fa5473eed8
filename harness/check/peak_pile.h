/* How the peaks of a file pile up under its largest: that of every 10 ms, by steps of 0.1 dB. Music
 * that nothing has limited reaches its largest peak once or twice; what a limiter or clipper has
 * held stands there again and again, whatever the level was set to afterwards. True peaks pile up
 * under a limiter of true peaks, samples under one that looks at samples alone, whose true peaks
 * scatter.
 *
 * Thread: one at a time an object. Real-time safe. */
#ifndef PLANISH_HARNESS_PEAK_PILE_H
#define PLANISH_HARNESS_PEAK_PILE_H

#include "harness/measure/places.h"

/* From -60 dBTP up to +20. */
#define PLANISH_PEAK_PILE_STEPS 800

typedef struct {
  uint64_t step[PLANISH_PEAK_PILE_STEPS];
  uint64_t sounding;  /* how many of 10 ms in all, over -60 dBTP */
  PlanishPlaces over; /* full scale; numbers of the steps of 10 ms */
} PlanishPeakPile;

/* The same of samples. */
typedef struct {
  PlanishPeakPile pile;
  double rate;
  double largest; /* of the step under way */
  uint64_t frame;
  uint64_t at;  /* step under way */
  uint64_t end; /* its frame */
} PlanishSamplePile;

void planish_sample_pile_reset(PlanishSamplePile *samples, double rate);

/* Samples of two channels, those of a frame side by side. */
void planish_sample_pile_process(PlanishSamplePile *samples, const float *interleaved,
                                 size_t frames);

/* All zero is the start. Fits PlanishTruePeakFftSink; `pile` is the PlanishPeakPile. */
void planish_peak_pile_add(void *pile, uint64_t step, double magnitude);

/* Share of all peaks that lie within 0.2 dB of the largest, 0..1, and how many. */
double planish_peak_pile_share(const PlanishPeakPile *pile);
uint64_t planish_peak_pile_count(const PlanishPeakPile *pile);

#endif
