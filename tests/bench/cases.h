/* What the costs of the stages are measured on: settings at work, and what is promised of them.
 *
 * Besides these every stage of the bundle is measured at its defaults and by its preset
 * "Neutral". */
#ifndef PLANISH_TESTS_COST_CASES_H
#define PLANISH_TESTS_COST_CASES_H

#include "harness/host/host.h"
#include "harness/host/instance.h"
#include "tests/bench/yardstick.h"

typedef struct {
  const char *stage; /* the name that ends its URI */
  const char *name;
  float peak;           /* of the music that goes in */
  const char *settings; /* symbol=value, separated by spaces; "preset": the preset "Neutral" */
  YardstickKind yardstick;
  unsigned transforms; /* of YARDSTICK_FFT: pairs of a hop, forth and back */
  uint32_t length;     /* likewise: of a frame at 48 kHz; a hop is a quarter */
  double goal;         /* in yardsticks, at 48 kHz; 0: none */
} CostCase;

/* The cases of one stage, its defaults and neutral first. Calls `see` for each; returns how many
 * there were. */
unsigned cost_cases_of(const PlanishPlugin *plugin,
                       void (*see)(const PlanishPlugin *plugin, const CostCase *cost, void *user),
                       void *user);

/* An instance set so, and activated. A case that the stage does not take ends the program. */
PlanishInstance *cost_case_instance(PlanishHost *host, const PlanishPlugin *plugin,
                                    const CostCase *cost, double rate);

#endif
