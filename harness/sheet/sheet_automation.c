/* How controls move over time: `automation`. */
#include "harness/sheet/sheet_reading.h"

#include <stdlib.h>
#include <string.h>

enum { LONGEST = 86400 /* s */ };

/* One control's points on their way in. */
typedef struct {
  const PlanishPluginPort *port;
  PlanishAutomationPoint *point;
} Part;

static void read_at(PlanishSheetReading *reading, const PlanishNode *node)
{
  Part *part = reading->part;
  planish_sheet_time(node, "at", LONGEST, &part->point->at, reading->mistakes);
}

static void read_value(PlanishSheetReading *reading, const PlanishNode *node)
{
  Part *part = reading->part;
  PlanishError error = {0};
  if (node->kind != PLANISH_NODE_SCALAR) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "value: a list or map where one value belongs");
    return;
  }
  if (!planish_sheet_port_value(part->port, node->text, node->quoted, &part->point->value,
                                &error) ||
      !planish_sheet_check_audition(part->port, part->point->value, reading->audition, &error)) {
    planish_mistake(reading->mistakes, node->line, node->column, "%s", error.text);
  }
}

static bool only_steps(const PlanishPluginPort *port)
{
  return port->toggled || port->enumeration || port->whole;
}

static void read_move(PlanishSheetReading *reading, const PlanishNode *node)
{
  static const char *const words[] = {"straight", "step"};
  Part *part = reading->part;
  unsigned word = 0;
  if (!planish_sheet_word(node, "move", words, PLANISH_LENGTH_OF(words), &word,
                          reading->mistakes)) {
    return;
  }
  if (word == 0 && only_steps(part->port)) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "move: %s has nothing between its values: give step", part->port->symbol);
  }
  part->point->step = word == 1;
}

static void read_point(PlanishSheetReading *reading, const PlanishNode *map,
                       const PlanishPluginPort *port, PlanishAutomationPoint *point)
{
  static const PlanishSheetMember members[] = {
      {"at", read_at}, {"value", read_value}, {"move", read_move}};
  static const char *const needed[] = {"at", "value"};
  Part part = {.port = port, .point = point};
  point->step = only_steps(port);
  if (!planish_sheet_read_map(reading, map, "a point", members, PLANISH_LENGTH_OF(members),
                              &part)) {
    return;
  }
  for (size_t n = 0; n < PLANISH_LENGTH_OF(needed); ++n) {
    if (planish_sheet_member(map, needed[n]) == NULL) {
      planish_mistake(reading->mistakes, map->line, map->column,
                      "a point without \"%s:\": write {at: TIME, value: VALUE}", needed[n]);
    }
  }
}

/* Against the point before. Two at one time make sense where the second is a step. */
static void check_order(PlanishSheetReading *reading, const PlanishNode *map,
                        const PlanishAutomationPoint *point)
{
  const PlanishAutomationPoint *before = point - 1;
  const PlanishNode *at = planish_sheet_member(map, "at");
  const PlanishNode *place = at == NULL ? map : at;
  if (before->at.in_frames != point->at.in_frames && before->at.value > 0.0 &&
      point->at.value > 0.0) {
    planish_mistake(reading->mistakes, place->line, place->column,
                    "at: seconds and frames in one control: give all of its points in one of them");
  } else if (point->at.value < before->at.value ||
             (point->at.value == before->at.value && !point->step)) {
    planish_mistake(reading->mistakes, place->line, place->column,
                    "at: not after the point before it: list the points in order of time; at the "
                    "same time only \"move: step\" makes sense");
  }
}

static void check_control(PlanishSheetReading *reading, const PlanishNode *key,
                          const PlanishControl *control)
{
  const PlanishSheet *sheet = reading->sheet;
  const PlanishPluginPort *port = &sheet->stages[control->stage].plugin->ports[control->port];
  bool landing =
      sheet->has_by && sheet->by.stage == control->stage && sheet->by.port == control->port;
  for (uint32_t n = 0; n < sheet->ceiling_count; ++n) {
    landing = landing || (sheet->ceiling_at[n].stage == control->stage &&
                          sheet->ceiling_at[n].port == control->port);
  }
  if (port->not_automatic) {
    planish_mistake(reading->mistakes, key->line, key->column,
                    "%s: cannot be automated, the stage rebuilds itself when it changes: set it "
                    "once, in the stage",
                    key->text);
  }
  if (landing) {
    planish_mistake(reading->mistakes, key->line, key->column,
                    "%s: the target moves it: automate another control of the chain", key->text);
  }
  if (planish_sheet_automation(sheet, control) != NULL) {
    planish_mistake(reading->mistakes, key->line, key->column, "%s: automated twice: keep one",
                    key->text);
  }
}

static void read_points(PlanishSheetReading *reading, const PlanishNode *list,
                        const PlanishControl *control)
{
  PlanishSheet *sheet = reading->sheet;
  PlanishSheetStage *stage = &sheet->stages[control->stage];
  const size_t count = list->kind == PLANISH_NODE_LIST ? planish_sheet_member_count(list) : 0;
  if (count == 0) {
    planish_mistake(reading->mistakes, list->line, list->column,
                    "%s: no list of points: write [{at: TIME, value: VALUE}, ...]",
                    list->key->text);
    return;
  }
  PlanishAutomation *automation = &sheet->automation[sheet->automation_count];
  *automation = (PlanishAutomation){.control = *control};
  automation->points = calloc(count, sizeof *automation->points);
  if (automation->points == NULL) {
    planish_mistake_memory(reading->mistakes);
    return;
  }
  sheet->automation_count += 1;
  for (const PlanishNode *node = list->first; node != NULL; node = node->next) {
    PlanishAutomationPoint *point = &automation->points[automation->count];
    const size_t before = planish_sheet_mistakes(reading);
    read_point(reading, node, &stage->plugin->ports[control->port], point);
    if (automation->count > 0 && planish_sheet_mistakes(reading) == before) {
      check_order(reading, node, point);
    }
    automation->count += 1;
  }
  for (uint32_t n = 0; n < automation->count && automation->points[n].at.value == 0.0; ++n) {
    stage->values[control->port] = automation->points[n].value;
  }
}

void planish_sheet_read_automation(PlanishSheetReading *reading, const PlanishNode *map)
{
  if (map->kind != PLANISH_NODE_MAP) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "automation: no map: write NAME.SYMBOL and its points, such as "
                    "{steer.threshold: [{at: 0, value: -16}]}");
    return;
  }
  reading->sheet->automation =
      calloc(planish_sheet_member_count(map) + 1, sizeof *reading->sheet->automation);
  if (reading->sheet->automation == NULL) {
    planish_mistake_memory(reading->mistakes);
    return;
  }
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    PlanishControl control;
    if (!node->bad && planish_sheet_read_control(reading, node->key, &control)) {
      check_control(reading, node->key, &control);
      read_points(reading, node, &control);
    }
  }
}
