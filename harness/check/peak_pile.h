/* How the peaks of a file pile up under its largest: the true peak of every 10 ms, by steps of
 * 0.1 dB. Music that nothing has limited reaches its largest peak once or twice; what a limiter or
 * clipper has held stands there again and again, whatever the level was set to afterwards.
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

/* All zero is the start. Fits PlanishTruePeakFftSink; `pile` is the PlanishPeakPile. */
void planish_peak_pile_add(void *pile, uint64_t step, double magnitude);

/* Share of all peaks that lie within 0.2 dB of the largest, 0..1, and how many. */
double planish_peak_pile_share(const PlanishPeakPile *pile);
uint64_t planish_peak_pile_count(const PlanishPeakPile *pile);

#endif
