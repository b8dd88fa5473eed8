/* Where a coded file, decoded, passes a ceiling: coding moves peaks, and a decoder that makes whole
 * numbers cuts off what is over full scale.
 *
 * Counted are samples beyond full scale, and the places where the true peak is over the ceiling:
 * steps of 10 ms, those that follow each other taken as one. As everywhere, a true peak up to
 * PLANISH_LANDING_OVER (render/landing.h) over a ceiling still holds it. Thread: one at a time an
 * object. */
#ifndef PLANISH_HARNESS_OVERS_H
#define PLANISH_HARNESS_OVERS_H

#include "harness/measure/places.h"

#include <math.h>
#include <stdbool.h>

typedef struct {
  double ceiling;                     /* dBTP */
  uint64_t samples;                   /* beyond full scale */
  uint64_t places;                    /* over the ceiling */
  double at[PLANISH_PLACES_KEPT];     /* s, where the first of them begin */
  double height[PLANISH_PLACES_KEPT]; /* dBTP, their highest */
  double highest;                     /* dBTP, of all; -INFINITY: none */
  bool has_avoiding;
  double
      avoiding;  /* dBTP: a ceiling ahead of the coder with which nothing passes; found by trial */
  uint64_t last; /* step that passed, and one */
} PlanishOvers;

/* The next samples. */
void planish_overs_samples(PlanishOvers *overs, const float *samples, size_t count);

/* The next step of 10 ms. Fits PlanishTruePeakFftSink (measure/true_peak_fft.h). */
void planish_overs_step(void *overs, uint64_t step, double magnitude);

#endif
