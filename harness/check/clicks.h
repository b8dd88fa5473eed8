/* Finds clicks: single samples, or a few, that nothing around them leads up to, and edits that
 * jump.
 *
 * Each channel is whitened by linear prediction (autocorrelation method, Durbin's recursion), so
 * that what is left is what could not be foreseen. A click stands alone there: by 20 dB above all
 * of the 12 ms before it and of the 12 ms behind it, but for the first one; and by 26 dB above what
 * is behind it, where that is more than 6 dB above what was before. A drum's attack does not, since
 * what could not be foreseen goes on after it, nor do the pulses of a voice or a horn. And a click
 * is at least a tenth as high as the sound around it, and over -50 dBFS.
 *
 * In dense, bright music the loud ones alone are found: what is hard to hear is hard to tell. Some
 * 15 ms are needed on either side: none is found nearer to the ends of the file.
 *
 * The result does not depend on where blocks end. Thread: one at a time an object. */
#ifndef PLANISH_HARNESS_CLICKS_H
#define PLANISH_HARNESS_CLICKS_H

#include "harness/measure/places.h"

typedef struct PlanishClicks PlanishClicks;

/* Rate 8000..384000 Hz. NULL outside of it, or without memory. */
PlanishClicks *planish_clicks_new(double rate);
/* NULL is allowed. */
void planish_clicks_free(PlanishClicks *clicks);

void planish_clicks_process(PlanishClicks *clicks, const float *interleaved, size_t frames);

/* Those found so far in a channel, 0 left, 1 right. */
const PlanishPlaces *planish_clicks_found(const PlanishClicks *clicks, uint32_t channel);

#endif
