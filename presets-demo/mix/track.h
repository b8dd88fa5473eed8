/* A stereo track of the song: two lanes of doubles, as long as the song. */
#ifndef PLANISH_DEMO_TRACK_H
#define PLANISH_DEMO_TRACK_H

#include "presets-demo/mix/filter.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
  double *left;
  double *right;
  size_t frames;
} PlanishDemoTrack;

/* Silent; left is NULL where memory lacks. Give it back with planish_demo_track_free. */
PlanishDemoTrack planish_demo_track_new(size_t frames);
void planish_demo_track_free(PlanishDemoTrack *track);

/* Adds a mono sound from frame `at` on, cut at the ends of the track. pan -1 (left) .. 1 (right),
 * of constant power; the middle keeps 1/sqrt(2) a side. */
void planish_demo_track_place(PlanishDemoTrack *track, const double *sound, size_t frames,
                              ptrdiff_t at, double gain, double pan);

/* Adds `other` (of the same length) times gain. */
void planish_demo_track_add(PlanishDemoTrack *track, const PlanishDemoTrack *other, double gain);

void planish_demo_track_scale(PlanishDemoTrack *track, double gain);

/* Both lanes through the bands, each from rest. */
void planish_demo_track_filter(PlanishDemoTrack *track, const PlanishDemoBand *bands, size_t count);

/* The side signal, (L-R)/2, alone through one band; the mid stays. */
void planish_demo_track_filter_side(PlanishDemoTrack *track, PlanishDemoBand band);

/* The largest magnitude of either lane. */
double planish_demo_track_peak(const PlanishDemoTrack *track);

#endif
