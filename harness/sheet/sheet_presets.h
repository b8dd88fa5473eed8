/* Settings on their way between a sheet and a host: LV2 presets become a sheet, and a sheet a
 * bundle of LV2 presets.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_SHEET_PRESETS_H
#define PLANISH_HARNESS_SHEET_PRESETS_H

#include "harness/sheet/sheet.h"

/* A sheet with a stage for each preset, in their order, set as the preset says; its name is made of
 * the preset's. A preset is named as in preset.h. */
PlanishSheet *planish_sheet_from_presets(PlanishHost *host, const char *const *presets,
                                         size_t count, PlanishError *error);

/* Writes the folder `folder`, which must not exist yet, whole or not at all: a manifest, and a file
 * for each stage. Hosts show the presets as "TITLE: NAME OF THE STAGE". They hold every control but
 * lv2:enabled and what is for listening, as it is at time 0, with a decimal point (hosts drop what
 * has none). */
bool planish_sheet_write_presets(const PlanishSheet *sheet, const char *folder, const char *title,
                                 PlanishError *error);

#endif
