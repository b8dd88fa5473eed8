/* The clean guitars of the quiet parts: picked chords, two takes. */
#ifndef PLANISH_DEMO_CLEAN_H
#define PLANISH_DEMO_CLEAN_H

#include "presets-demo/mix/track.h"

#include <stdbool.h>

/* Adds them to the guitars. False where memory lacks. */
bool planish_demo_clean_guitars(PlanishDemoTrack *track);

#endif
