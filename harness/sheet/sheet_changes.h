/* A sheet's tree changed ahead of its reading: so variants of a sheet, and tracks of an album, are
 * sheets like any other, made of a common one.
 *
 * Changes are a map:
 *
 *   without: [NAME, ...]             stages and branches that are left out, with their automation
 *   set: {NAME.SYMBOL: VALUE, ...}   controls instead of the sheet's values
 *   target: {...}                    members over those of the sheet's target
 *   head_silence, fade_in, fade_out, tail, tail_silence, input: instead of the sheet's
 *
 * Thread: one at a time a tree. */
#ifndef PLANISH_HARNESS_SHEET_CHANGES_H
#define PLANISH_HARNESS_SHEET_CHANGES_H

#include "harness/sheet/sheet.h"

/* Changes the tree `root` of a sheet. Of the map `changes` it takes the keys that are in `keys`,
 * and leaves others to whoever calls; what it takes is copied with its places. False where there
 * was any mistake, or a sheet in which there is nothing to change. `where` names the map in
 * messages.
 */
bool planish_sheet_change(PlanishNode *root, const PlanishNode *changes, const char *const *keys,
                          size_t count, const char *where, PlanishMistakes *mistakes);

/* The sheet that the tree of one becomes by all of `changes` in turn, less its variants and what
 * was noted for its recall. NULL where there is any mistake. */
typedef struct {
  const PlanishNode *root;
  const PlanishNode *const *changes;
  size_t change_count;
  const char *const *keys;
  size_t key_count;
  const char *where;
} PlanishSheetChanged;

PlanishSheet *planish_sheet_of_changed(const PlanishSheetChanged *changed, PlanishHost *host,
                                       PlanishMistakes *mistakes);

#endif
