/* Where a preset is heard, and whether it goes the way that it says (heardAs of the vocabulary). */
#ifndef PLANISH_TESTS_PRESET_WAY_H
#define PLANISH_TESTS_PRESET_WAY_H

#include "harness/host/preset_list.h"
#include "tests/presets/preset_changes.h"

#include <stdbool.h>

bool preset_is_on(const PlanishPresetEntry *entry, PresetSignal signal);
bool preset_is_inside(const PlanishPresetEntry *entry, int band);

/* How far it goes the way that it says, dB: the mean over thirds. A nearly silent one, that may
 * change by tens, counts by one at most. 0: "either", or no way that is known. */
double preset_goes(const PlanishPresetEntry *entry, const PresetChanges *changes);

#endif
