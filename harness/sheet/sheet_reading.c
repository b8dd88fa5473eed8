#include "harness/sheet/sheet_reading.h"

#include <string.h>

enum { MOST_KEYS = 24 };

size_t planish_sheet_mistakes(const PlanishSheetReading *reading)
{
  return reading->mistakes->count + reading->mistakes->untold;
}

bool planish_sheet_read_map(PlanishSheetReading *reading, const PlanishNode *map, const char *where,
                            const PlanishSheetMember *members, size_t count, void *part)
{
  const size_t before = planish_sheet_mistakes(reading);
  const char *keys[MOST_KEYS] = {NULL};
  for (size_t n = 0; n < count; ++n) {
    keys[n] = members[n].key;
  }
  if (map->bad) {
    return false;
  }
  if (map->kind != PLANISH_NODE_MAP) {
    return planish_mistake(reading->mistakes, map->line, map->column,
                           "%s: no map: write keys and values, such as {%s: ...}", where, keys[0]);
  }
  void *outer = reading->part;
  reading->part = part;
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    size_t n = 0;
    if (node->key->kind != PLANISH_NODE_SCALAR || node->key->bad) {
      continue;
    }
    while (n < count && strcmp(keys[n], node->key->text) != 0) {
      n += 1;
    }
    if (n == count) {
      planish_sheet_unknown_key(node->key, keys, count, where, reading->mistakes);
    } else if (!node->bad) {
      members[n].read(reading, node);
    }
  }
  reading->part = outer;
  return planish_sheet_mistakes(reading) == before;
}

const PlanishNode *planish_sheet_member(const PlanishNode *map, const char *key)
{
  const PlanishNode *node = map->kind == PLANISH_NODE_MAP ? map->first : NULL;
  while (node != NULL &&
         (node->key->kind != PLANISH_NODE_SCALAR || strcmp(node->key->text, key) != 0)) {
    node = node->next;
  }
  return node;
}

size_t planish_sheet_member_count(const PlanishNode *node)
{
  size_t count = 0;
  for (const PlanishNode *member = node->first; member != NULL; member = member->next) {
    count += 1;
  }
  return count;
}

bool planish_sheet_read_control(PlanishSheetReading *reading, const PlanishNode *node,
                                PlanishControl *control)
{
  if (node->bad) {
    return false;
  }
  if (node->kind != PLANISH_NODE_SCALAR) {
    return planish_mistake(reading->mistakes, node->line, node->column,
                           "no control: give NAME.SYMBOL, a stage's name and a control's symbol");
  }
  PlanishError error = {0};
  if (planish_sheet_control(reading->sheet, node->text, control, &error)) {
    return true;
  }
  const bool excused = reading->stages_left_out && strchr(node->text, '.') != NULL &&
                       planish_sheet_stage_of(reading->sheet, node->text) < 0;
  return !excused && planish_mistake(reading->mistakes, node->line, node->column, "%s", error.text);
}
