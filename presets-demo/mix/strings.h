/* A plucked string (Karplus, Strong 1983, with the tuning and pick of Jaffe, Smith 1983): a delay
 * line as long as a period, a gentle low pass in its loop, an all-pass for the rest of a frame. */
#ifndef PLANISH_DEMO_STRINGS_H
#define PLANISH_DEMO_STRINGS_H

#include "presets-demo/mix/random.h"

#include <stddef.h>

typedef struct {
  double pitch;   /* MIDI note number, 20 up */
  double seconds; /* to fall by 60 dB at the fundamental, while held */
  double damping; /* 0 (steel) .. 0.5 (a palm on the bridge): loss of the partials */
  double pick;    /* where along the string it is picked, 0.03 .. 0.5 */
  double colour;  /* 0 (dull, soft) .. 0.95 (bright, hard) stroke */
  double force;
  double release; /* seconds to fall by 60 dB once the hand stops it */
} PlanishDemoPluck;

/* Adds a string that is picked at sound[0] and stopped `held` frames later; stops at `frames` or
 * when it can no longer be heard. */
void planish_demo_pluck(const PlanishDemoPluck *pluck, size_t held, PlanishDemoRandom *random,
                        double *sound, size_t frames);

#endif
