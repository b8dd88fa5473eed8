/* The list of stages in a sheet. */
#include "harness/sheet/sheet_value.h"

#include "harness/base/text.h"

#include <stdlib.h>
#include <string.h>

typedef struct {
  PlanishHost *host;
  PlanishMistakes *mistakes;
  bool audition;
} Reading;

static void tell(Reading *reading, const PlanishNode *node, const PlanishError *error)
{
  planish_mistake(reading->mistakes, node->line, node->column, "%s", error->text);
}

static const PlanishNode *member(const PlanishNode *map, const char *key)
{
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    if (node->key->kind == PLANISH_NODE_SCALAR && strcmp(node->key->text, key) == 0) {
      return node;
    }
  }
  return NULL;
}

static bool is_name(const char *text)
{
  static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_";
  return text[0] != '\0' && text[strspn(text, letters)] == '\0' && strlen(text) <= 40;
}

static void read_name(Reading *reading, PlanishSheet *sheet, PlanishSheetStage *stage,
                      const PlanishNode *map)
{
  const PlanishNode *node = member(map, "name");
  if (node == NULL) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "a stage without a name: add \"name:\" with a name of its own");
    return;
  }
  if (node->bad) {
    return;
  }
  if (node->kind != PLANISH_NODE_SCALAR || !is_name(node->text)) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "name: not a name: give letters, digits, - and _, at most 40");
    return;
  }
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    const char *taken = sheet->stages[n].name;
    if (taken != NULL && strcmp(taken, node->text) == 0) {
      planish_mistake(reading->mistakes, node->line, node->column,
                      "name: %s is taken by another stage: give each its own", node->text);
    }
  }
  free(stage->name);
  stage->name = planish_text_copy(node->text);
  if (stage->name == NULL) {
    planish_mistake_memory(reading->mistakes);
  }
}

static bool read_plugin(Reading *reading, PlanishSheetStage *stage, const PlanishNode *map)
{
  const PlanishNode *node = member(map, "stage");
  if (node == NULL || node->kind != PLANISH_NODE_SCALAR) {
    const PlanishNode *place = node == NULL ? map : node;
    return planish_mistake(reading->mistakes, place->line, place->column,
                           "no stage: add \"stage:\" with one that \"planish stages\" lists");
  }
  if (node->bad) {
    return false;
  }
  PlanishError error = {0};
  stage->plugin = planish_host_plugin(reading->host, node->text, &error);
  if (stage->plugin == NULL) {
    tell(reading, node, &error);
    return false;
  }
  const uint32_t count = stage->plugin->port_count;
  stage->values = calloc((size_t)count + 1, sizeof *stage->values);
  stage->given = calloc((size_t)count + 1, sizeof *stage->given);
  if (stage->values == NULL || stage->given == NULL) {
    return planish_mistake_memory(reading->mistakes);
  }
  for (uint32_t n = 0; n < count; ++n) {
    stage->values[n] = stage->plugin->ports[n].initial;
  }
  return true;
}

static void read_value(Reading *reading, PlanishSheetStage *stage, const PlanishNode *node)
{
  PlanishError error = {0};
  uint32_t index = 0;
  if (stage->plugin == NULL) {
    return; /* that the stage is unknown has been told */
  }
  if (!planish_sheet_symbol(stage->plugin, node->key->text, &index, &error)) {
    tell(reading, node->key, &error);
    return;
  }
  const PlanishPluginPort *port = &stage->plugin->ports[index];
  if (node->bad) {
    return;
  }
  if (node->kind != PLANISH_NODE_SCALAR) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "%s: a list or map where one value belongs", port->symbol);
    return;
  }
  if (!planish_sheet_port_value(port, node->text, node->quoted, &stage->values[index], &error)) {
    tell(reading, node, &error);
    return;
  }
  stage->given[index] = true;
  if (!planish_sheet_check_audition(port, stage->values[index], reading->audition, &error)) {
    tell(reading, node, &error);
  }
}

static void read_stage(Reading *reading, PlanishSheet *sheet, const PlanishNode *map)
{
  if (map->bad) {
    return;
  }
  if (map->kind != PLANISH_NODE_MAP) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "no stage: each is a map, such as {stage: limiter, name: first}");
    return;
  }
  PlanishSheetStage *stage = &sheet->stages[sheet->stage_count];
  const bool known = read_plugin(reading, stage, map);
  read_name(reading, sheet, stage, map);
  for (const PlanishNode *node = map->first; known && node != NULL; node = node->next) {
    const char *key = node->key->kind == PLANISH_NODE_SCALAR ? node->key->text : NULL;
    if (key != NULL && strcmp(key, "stage") != 0 && strcmp(key, "name") != 0) {
      read_value(reading, stage, node);
    }
  }
  if (known && stage->name != NULL) {
    sheet->stage_count += 1;
    return;
  }
  free(stage->name);
  free(stage->values);
  free(stage->given);
  *stage = (PlanishSheetStage){0};
}

bool planish_sheet_stages(PlanishSheet *sheet, const PlanishNode *list, PlanishHost *host,
                          bool audition, PlanishMistakes *mistakes)
{
  Reading reading = {.host = host, .mistakes = mistakes, .audition = audition};
  if (list->bad) {
    return false;
  }
  if (list->kind != PLANISH_NODE_LIST) {
    planish_mistake(mistakes, list->line, list->column,
                    "stages: no list: begin each stage with \"- \"");
    return false;
  }
  size_t count = 0;
  for (const PlanishNode *node = list->first; node != NULL; node = node->next) {
    count += 1;
  }
  if (count == 0) {
    planish_mistake(mistakes, list->line, list->column, "stages: an empty list: add a stage");
  }
  sheet->stages = calloc(count + 1, sizeof *sheet->stages);
  if (sheet->stages == NULL) {
    planish_mistake_memory(mistakes);
    return false;
  }
  for (const PlanishNode *node = list->first; node != NULL; node = node->next) {
    read_stage(&reading, sheet, node);
  }
  return sheet->stage_count == count;
}
