/* What sounds when it is struck: modes that ring and die, noise that dies. Sounds are added to. */
#ifndef PLANISH_DEMO_STRUCK_H
#define PLANISH_DEMO_STRUCK_H

#include "presets-demo/mix/random.h"

#include <stddef.h>

/* A sine of `hertz` from phase 0 that falls 60 dB in `seconds`. */
void planish_demo_ring(double hertz, double seconds, double level, double *sound, size_t frames);

/* A sine whose pitch falls from `from` towards `hertz` (Hz) with time constant `bend` (s), as a
 * struck skin's does. */
void planish_demo_skin(double from, double hertz, double bend, double seconds, double level,
                       double *sound, size_t frames);

typedef struct {
  double low;     /* Hz */
  double high;    /* Hz */
  double rise;    /* time constant in s; 0: at once */
  double seconds; /* to fall by 60 dB */
  double level;
} PlanishDemoNoise;

/* Noise between two frequencies (12 dB an octave either side). */
void planish_demo_hiss(PlanishDemoNoise noise, PlanishDemoRandom *random, double *sound,
                       size_t frames);

#endif
