/* A parallel branch in the list of stages. */
#include "harness/base/text.h"
#include "harness/sheet/sheet_reading.h"

#include <stdlib.h>
#include <string.h>

static const char *const keys[] = {"branch", "take", "stages", "level", "add"};

/* False where there are none to read. */
static bool check_stages(PlanishSheetReading *reading, const PlanishNode *map)
{
  const PlanishNode *list = planish_sheet_member(map, "stages");
  const PlanishNode *place = list == NULL ? map : list;
  if (list != NULL && list->bad) {
    return false;
  }
  if (list == NULL || (list->kind == PLANISH_NODE_LIST && list->first == NULL)) {
    return planish_mistake(reading->mistakes, place->line, place->column,
                           "a branch without stages: add \"stages:\" with a list of them, or leave "
                           "the branch out");
  }
  return list->kind == PLANISH_NODE_LIST ||
         planish_mistake(reading->mistakes, place->line, place->column,
                         "stages: no list: begin each stage with \"- \"");
}

static void read_controls(PlanishSheetReading *reading, PlanishSheetStage *branch,
                          const PlanishNode *map)
{
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    const char *key = node->key->kind == PLANISH_NODE_SCALAR ? node->key->text : NULL;
    if (key == NULL || node->key->bad || strcmp(key, "branch") == 0 || strcmp(key, "stages") == 0) {
      continue;
    }
    if (strcmp(key, "stage") == 0) {
      planish_mistake(reading->mistakes, node->key->line, node->key->column,
                      "stage: in a branch: list it under \"stages:\" of the branch");
    } else if (planish_plugin_find(branch->plugin, key) < 0) {
      planish_sheet_unknown_key(node->key, keys, PLANISH_LENGTH_OF(keys), "a branch",
                                reading->mistakes);
    } else {
      planish_sheet_read_value(reading, branch, node);
    }
  }
}

void planish_sheet_read_branch(PlanishSheetReading *reading, const PlanishNode *map, uint32_t depth)
{
  PlanishSheet *sheet = reading->sheet;
  const PlanishNode *name = planish_sheet_member(map, "branch");
  PlanishSheetStage branch = {.first = sheet->stage_count, .depth = depth};
  if (check_stages(reading, map)) {
    planish_sheet_read_path(reading, planish_sheet_member(map, "stages"), depth + 1);
  }
  if (name == NULL) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "a branch without a name: add \"branch:\" with a name of its own");
  } else {
    planish_sheet_read_name(reading, &branch, name);
  }
  if (planish_sheet_stage_start(reading, &branch, planish_branch_plugin())) {
    read_controls(reading, &branch, map);
  }
  /* One whose stages were left out for their mistakes holds nothing, and is left out as well. */
  if (branch.name != NULL && branch.values != NULL && branch.unset != NULL &&
      branch.given != NULL && sheet->stage_count > branch.first) {
    sheet->stages[sheet->stage_count++] = branch;
  } else {
    planish_sheet_stage_free(&branch);
  }
}
