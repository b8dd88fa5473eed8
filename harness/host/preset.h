/* A preset of an LV2 plugin: values of its controls under a name.
 *
 * Looked for in the bundle first; in LV2_PATH (without it ~/.lv2 and the system's folders), where
 * hosts save what their user has set, only if the bundle has none of that name.
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_PRESET_H
#define PLANISH_HARNESS_PRESET_H

#include "harness/host/host.h"

#include <stdint.h>

typedef struct {
  char *symbol;
  double value;
} PlanishPresetValue;

typedef struct {
  char *label;
  char *plugin_uri;
  char *heard_on; /* "both", "mid", "side" (urn:planish:vocabulary#heardOn); "": not said */
  uint32_t count;
  PlanishPresetValue *values; /* in order of symbol */
} PlanishPreset;

/* By label (capital letters as small), URI, or path of a Turtle file (ending in .ttl). `plugin`:
 * whose preset it must be; NULL: anyone's. NULL with PLANISH_BAD_USE and the nearest label where
 * there is none, several have the label, or it holds more than values of controls. */
PlanishPreset *planish_preset_new(PlanishHost *host, const PlanishPlugin *plugin, const char *name,
                                  PlanishError *error);
/* NULL is allowed. */
void planish_preset_free(PlanishPreset *preset);

#endif
