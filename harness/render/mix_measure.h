/* Measures a mix, or a part of it, while it is read: the one beside the other.
 *
 * Errors: those of PlanishReader; PLANISH_INTERRUPTED. Thread: that of the host. */
#ifndef PLANISH_HARNESS_MIX_MEASURE_H
#define PLANISH_HARNESS_MIX_MEASURE_H

#include "harness/audio/audio_reader.h"
#include "harness/measure/measure.h"

typedef struct {
  PlanishReader *mix;
  uint64_t from; /* frames */
  uint64_t to;
  void (*told)(void *user, double share); /* may be NULL */
  void *told_user;
} PlanishMixMeasureJob;

bool planish_mix_measure(const PlanishMixMeasureJob *job, PlanishMeasurement *result,
                         PlanishError *error);

#endif
