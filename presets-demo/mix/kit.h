/* The sounds of the drum kit, one stroke at a time, mono, each peaking near its force (0 .. 1). */
#ifndef PLANISH_DEMO_KIT_H
#define PLANISH_DEMO_KIT_H

#include "presets-demo/mix/random.h"

#include <stddef.h>

/* Adds one stroke to a zeroed sound of `frames` (4 s hold the longest). */
typedef void PlanishDemoStroke(double force, PlanishDemoRandom *random, double *sound,
                               size_t frames);

PlanishDemoStroke planish_demo_kick;
PlanishDemoStroke planish_demo_snare;
PlanishDemoStroke planish_demo_closed_hats;
PlanishDemoStroke planish_demo_open_hats;
PlanishDemoStroke planish_demo_crash;
PlanishDemoStroke planish_demo_crash_edge;
PlanishDemoStroke planish_demo_high_tom;
PlanishDemoStroke planish_demo_middle_tom;
PlanishDemoStroke planish_demo_floor_tom;

#endif
