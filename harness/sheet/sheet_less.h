/* A sheet less some of its stages, and without a target. Thread: that of the host. */
#ifndef PLANISH_HARNESS_SHEET_LESS_H
#define PLANISH_HARNESS_SHEET_LESS_H

#include "harness/sheet/sheet.h"

/* Whether a stage is left out, by itself or with a branch that it stands in. `without`: by stage;
 * NULL: none is. */
bool planish_sheet_is_gone(const PlanishSheet *sheet, const bool *without, uint32_t stage);

/* Shares everything with `sheet`, which must outlive it, but its own two lists, of stages and of
 * automation. False without memory; planish_sheet_less_release() gives them back either way. */
bool planish_sheet_less(PlanishSheet *less, const PlanishSheet *sheet, const bool *without);
void planish_sheet_less_release(PlanishSheet *less);

#endif
