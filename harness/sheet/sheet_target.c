/* What the finished file is to be: `target`. */
#include "harness/sheet/sheet_reading.h"

#include <stdlib.h>
#include <string.h>

static void read_loudness(PlanishSheetReading *reading, const PlanishNode *node)
{
  reading->sheet->has_loudness = true;
  planish_sheet_number(node, "loudness", PLANISH_SHEET_QUIETEST, PLANISH_SHEET_LOUDEST, "LUFS",
                       &reading->sheet->loudness, reading->mistakes);
}

static void read_ceiling(PlanishSheetReading *reading, const PlanishNode *node)
{
  reading->sheet->has_ceiling = true;
  planish_sheet_number(node, "ceiling", PLANISH_SHEET_LOWEST_CEILING, 0, "dBTP",
                       &reading->sheet->ceiling, reading->mistakes);
}

static bool read_movable(PlanishSheetReading *reading, const PlanishNode *node,
                         PlanishControl *control)
{
  PlanishError error = {0};
  if (!planish_sheet_read_control(reading, node, control)) {
    return false;
  }
  const PlanishSheetStage *stage = &reading->sheet->stages[control->stage];
  return planish_sheet_can_land(&stage->plugin->ports[control->port], node->text, &error) ||
         planish_mistake(reading->mistakes, node->line, node->column, "%s", error.text);
}

static void read_by(PlanishSheetReading *reading, const PlanishNode *node)
{
  reading->sheet->has_by = read_movable(reading, node, &reading->sheet->by);
}

static bool same(const PlanishControl *a, const PlanishControl *b)
{
  return a->stage == b->stage && a->port == b->port;
}

static void read_one_ceiling(PlanishSheetReading *reading, const PlanishNode *node)
{
  PlanishSheet *sheet = reading->sheet;
  PlanishControl *control = &sheet->ceiling_at[sheet->ceiling_count];
  if (!read_movable(reading, node, control)) {
    return;
  }
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    if (same(control, &sheet->ceiling_at[n])) {
      planish_mistake(reading->mistakes, node->line, node->column,
                      "ceiling_at: %s stands here twice: keep one", node->text);
      return;
    }
  }
  sheet->ceiling_count += 1;
}

static void read_ceiling_at(PlanishSheetReading *reading, const PlanishNode *list)
{
  if (list->kind != PLANISH_NODE_LIST) {
    planish_mistake(reading->mistakes, list->line, list->column,
                    "ceiling_at: no list: write [NAME.SYMBOL, ...]");
    return;
  }
  reading->sheet->ceiling_at =
      calloc(planish_sheet_member_count(list) + 1, sizeof *reading->sheet->ceiling_at);
  if (reading->sheet->ceiling_at == NULL) {
    planish_mistake_memory(reading->mistakes);
    return;
  }
  for (const PlanishNode *node = list->first; node != NULL; node = node->next) {
    read_one_ceiling(reading, node);
  }
}

/* Controls that hold the ceiling and are not named stand at the target's. */
static void lower_ceilings(PlanishSheetReading *reading, const PlanishNode *map)
{
  PlanishSheet *sheet = reading->sheet;
  for (uint32_t n = 0; sheet->has_ceiling && n < sheet->ceiling_count; ++n) {
    const PlanishControl *control = &sheet->ceiling_at[n];
    PlanishSheetStage *stage = &sheet->stages[control->stage];
    const PlanishPluginPort *port = &stage->plugin->ports[control->port];
    const float ceiling = (float)sheet->ceiling;
    if (stage->given[control->port]) {
      continue;
    }
    if (ceiling < port->minimum || ceiling > port->maximum) {
      planish_mistake(reading->mistakes, map->line, map->column,
                      "target: ceiling %g is out of the range of %s.%s: give %g to %g",
                      sheet->ceiling, stage->name, port->symbol, (double)port->minimum,
                      (double)port->maximum);
      continue;
    }
    stage->values[control->port] = ceiling;
  }
}

void planish_sheet_read_target(PlanishSheetReading *reading, const PlanishNode *map)
{
  static const PlanishSheetMember members[] = {{"loudness", read_loudness},
                                               {"ceiling", read_ceiling},
                                               {"by", read_by},
                                               {"ceiling_at", read_ceiling_at}};
  const PlanishSheet *sheet = reading->sheet;
  planish_sheet_read_map(reading, map, "target", members, PLANISH_LENGTH_OF(members), NULL);
  if (map->kind != PLANISH_NODE_MAP) {
    return;
  }
  for (uint32_t n = 0; sheet->has_by && n < sheet->ceiling_count; ++n) {
    if (same(&sheet->by, &sheet->ceiling_at[n])) {
      planish_mistake(reading->mistakes, map->line, map->column,
                      "target: by and ceiling_at name the same control: loudness and ceiling each "
                      "need their own");
    }
  }
  if (sheet->has_loudness && planish_sheet_member(map, "by") == NULL) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "target: a loudness without a control to reach it: add \"by: NAME.SYMBOL\"");
  }
  lower_ceilings(reading, map);
}
