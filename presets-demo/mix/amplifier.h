/* A guitar amplifier with its loudspeaker: filters, two soft clips at four times the rate (so that
 * what they make above the band does not fold back into it), filters. */
#ifndef PLANISH_DEMO_AMPLIFIER_H
#define PLANISH_DEMO_AMPLIFIER_H

#include "presets-demo/mix/filter.h"

#include <stddef.h>

typedef struct {
  const PlanishDemoBand *before; /* bands ahead of the clips */
  size_t before_count;
  double drive;                 /* dB into the first clip */
  double second;                /* dB into the second */
  double offset;                /* 0 .. 0.5: uneven clipping, hence even harmonics */
  const PlanishDemoBand *after; /* loudspeaker and room microphone */
  size_t after_count;
} PlanishDemoAmplifier;

/* In place; full clipping comes out near +-1 ahead of the last bands. */
void planish_demo_amplify(const PlanishDemoAmplifier *amplifier, double *signal, size_t frames);

#endif
