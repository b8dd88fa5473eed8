/* How far each bin stands out of its neighbourhood, from one hop to the next.
 *
 * The power of a bin is a mean of 50 ms; its level that of a narrow band around it (at least three
 * bins); its surroundings the mean level over an octave without the middle, so that a resonance
 * does not raise what it is held against. Means over bands go by running sums with fractional
 * edges: the work does not depend on the widths.
 *
 * A hop calls the steps in order for all bins: power, level, then excess. Thread: one
 * at a time. All but setup are real-time safe. */
#ifndef PLANISH_RESONANCE_EXCESS_H
#define PLANISH_RESONANCE_EXCESS_H

#include "common/dsp/arena.h"
#include "common/dsp/spectral_engine.h"

#include <stdbool.h>
#include <stdint.h>

/* Of each bin a stretch around it, as places in a running sum over bins: laid out anew only where
 * its width has changed. */
typedef struct {
  uint16_t *from; /* whole bins under either end... */
  uint16_t *to;
  float *from_share; /* ...and what is left of the next */
  float *to_share;
  float *width;  /* bins */
  float factor;  /* half the width, as a factor of frequency */
  float reach;   /* bins each way at least */
  uint32_t laid; /* so many bins have theirs */
} ResonanceStretches;

typedef struct {
  float *power;              /* the mean, by bin */
  float *level;              /* dB of the narrow band around each bin; 0 dB is arbitrary */
  double *power_up;          /* sum of the power of all bins under this one */
  double *level_up;          /* sum of their levels */
  uint32_t bins;             /* length / 2 + 1 */
  float keep;                /* of the mean, from one hop to the next */
  float silence;             /* total power under which nothing is learnt */
  ResonanceStretches narrow; /* the narrow band */
  ResonanceStretches wide;   /* the surroundings */
  ResonanceStretches middle; /* what they leave out, ... */
  float *rest;               /* ... and what then is left of the width, bins */
} ResonanceExcess;

/* For an engine of `length` at a rate, 65536 at most. */
void resonance_excess_setup(ResonanceExcess *excess, PlanishArena *arena, double rate,
                            uint32_t length);

void resonance_excess_reset(ResonanceExcess *excess);

/* Width of the narrow band in octaves, 1/48..1/6. At the start of a hop. */
void resonance_excess_set(ResonanceExcess *excess, double bandwidth);

/* Bins from..to-1; in order, from 0 on. */
void resonance_excess_take_power(ResonanceExcess *excess, const PlanishSpectralEngine *engine,
                                 uint32_t from, uint32_t to);

/* The same, once all power is there. */
void resonance_excess_take_level(ResonanceExcess *excess, uint32_t from, uint32_t to);

/* Once all levels are there, in order: dB by which bins from..to-1 stand out, into
 * out[0..to-from-1]. */
void resonance_excess_get(ResonanceExcess *excess, float *out, uint32_t from, uint32_t to);

/* Once all power is there: too little to learn from, -80 dB re full scale. */
bool resonance_excess_is_silent(const ResonanceExcess *excess);

#endif
