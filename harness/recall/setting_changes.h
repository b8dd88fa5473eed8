/* What changed in the settings from one sheet to another.
 *
 * Both are written out with every control by its value (sheet_write.h), as they would be read
 * again, and the texts held against each other member by member: what a preset or a default gave is
 * told like what the sheet itself names. Stages are known by name; one whose kind has changed
 * counts as removed and added. Of the stages that both have, the fewest are told as moved that
 * explain the new order.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_SETTING_CHANGES_H
#define PLANISH_HARNESS_SETTING_CHANGES_H

#include "harness/sheet/sheet.h"

#include <stddef.h>

typedef enum {
  PLANISH_SETTING_VALUE,   /* old and new, either NULL where the sheet does not have it */
  PLANISH_SETTING_ADDED,   /* a stage: now is its kind */
  PLANISH_SETTING_REMOVED, /* a stage: then was its kind */
  PLANISH_SETTING_MOVED,   /* a stage: its place, from 1, in either */
} PlanishSettingChangeKind;

typedef struct {
  PlanishSettingChangeKind kind;
  char *where; /* NAME.SYMBOL, a stage's name, or as in the sheet: input.gain, fade_out */
  char *then;
  char *now;
  const char *unit; /* of the control; "" for none; the host's */
} PlanishSettingChange;

typedef struct {
  PlanishSettingChange *list;
  size_t count;
} PlanishSettingChanges;

/* False: no memory. planish_setting_changes_release() gives it back either way. */
bool planish_setting_changes_find(PlanishSettingChanges *changes, const PlanishSheet *then,
                                  const PlanishSheet *now, PlanishError *error);
void planish_setting_changes_release(PlanishSettingChanges *changes);

#endif
