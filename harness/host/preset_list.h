/* The presets of a stage that the bundle itself brings, and what they promise.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_PRESET_LIST_H
#define PLANISH_HARNESS_PRESET_LIST_H

#include "harness/host/host.h"

#include <stdint.h>

/* The promises are those of the bundle's vocabulary; NAN and "" where a preset has none. */
typedef struct {
  char *uri;
  char *label;
  char *comment;
  char *heard_on;        /* "both", "mid", "side" */
  char *heard_as;        /* "up", "down" and so on: the vocabulary has them all */
  char *only_when_loud;  /* symbol of the control that bounds it */
  double heard_from;     /* Hz */
  double heard_to;       /* Hz */
  double working;        /* LUFS */
  double least_loudness; /* LU */
  double most_loudness;  /* LU */
  double most_peak;      /* dB */
} PlanishPresetEntry;

typedef struct {
  uint32_t count;
  PlanishPresetEntry *entries; /* in order of label */
} PlanishPresetList;

/* NULL without memory. A stage without presets has an empty list. */
PlanishPresetList *planish_preset_list_new(PlanishHost *host, const PlanishPlugin *plugin,
                                           PlanishError *error);
/* NULL is allowed. */
void planish_preset_list_free(PlanishPresetList *list);

#endif
