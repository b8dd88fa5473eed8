/* The list of stages in a sheet. */
#include "harness/sheet/sheet_reading.h"

#include "harness/base/text.h"
#include "harness/host/preset.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void tell(PlanishSheetReading *reading, const PlanishNode *node, const PlanishError *error)
{
  planish_mistake(reading->mistakes, node->line, node->column, "%s", error->text);
}

bool planish_sheet_is_name(const char *text)
{
  static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_";
  return text[0] != '\0' && text[strspn(text, letters)] == '\0' && strlen(text) <= 40;
}

void planish_sheet_read_name(PlanishSheetReading *reading, PlanishSheetStage *stage,
                             const PlanishNode *node)
{
  const PlanishSheet *sheet = reading->sheet;
  if (node->bad) {
    return;
  }
  if (node->kind != PLANISH_NODE_SCALAR || !planish_sheet_is_name(node->text)) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "%s: not a name: give letters, digits, - and _, at most 40", node->key->text);
    return;
  }
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    const char *taken = sheet->stages[n].name;
    if (taken != NULL && strcmp(taken, node->text) == 0) {
      planish_mistake(reading->mistakes, node->line, node->column,
                      "%s: %s is taken by another stage: give each its own", node->key->text,
                      node->text);
    }
  }
  free(stage->name);
  stage->name = planish_text_copy(node->text);
  if (stage->name == NULL) {
    planish_mistake_memory(reading->mistakes);
  }
}

static void read_name(PlanishSheetReading *reading, PlanishSheetStage *stage,
                      const PlanishNode *map)
{
  const PlanishNode *node = planish_sheet_member(map, "name");
  if (node == NULL) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "a stage without a name: add \"name:\" with a name of its own");
  } else {
    planish_sheet_read_name(reading, stage, node);
  }
}

bool planish_sheet_stage_start(PlanishSheetReading *reading, PlanishSheetStage *stage,
                               const PlanishPlugin *plugin)
{
  const uint32_t count = plugin->port_count;
  stage->plugin = plugin;
  stage->values = calloc((size_t)count + 1, sizeof *stage->values);
  stage->unset = calloc((size_t)count + 1, sizeof *stage->unset);
  stage->given = calloc((size_t)count + 1, sizeof *stage->given);
  if (stage->values == NULL || stage->unset == NULL || stage->given == NULL) {
    return planish_mistake_memory(reading->mistakes);
  }
  for (uint32_t n = 0; n < count; ++n) {
    stage->values[n] = stage->unset[n] = plugin->ports[n].initial;
  }
  return true;
}

static bool read_plugin(PlanishSheetReading *reading, PlanishSheetStage *stage,
                        const PlanishNode *map)
{
  const PlanishNode *node = planish_sheet_member(map, "stage");
  if (node == NULL || node->kind != PLANISH_NODE_SCALAR) {
    const PlanishNode *place = node == NULL ? map : node;
    return planish_mistake(reading->mistakes, place->line, place->column,
                           "no stage: add \"stage:\" with one that \"planish stages\" lists");
  }
  if (node->bad) {
    return false;
  }
  PlanishError error = {0};
  const PlanishPlugin *plugin = planish_host_plugin(reading->host, node->text, &error);
  if (plugin == NULL) {
    tell(reading, node, &error);
    return false;
  }
  return planish_sheet_stage_start(reading, stage, plugin);
}

void planish_sheet_read_value(PlanishSheetReading *reading, PlanishSheetStage *stage,
                              const PlanishNode *node)
{
  PlanishError error = {0};
  uint32_t index = 0;
  if (!planish_sheet_symbol(stage->plugin, node->key->text, &index, &error)) {
    if (!planish_sheet_is_decimal_comma(node->key, reading->mistakes)) {
      tell(reading, node->key, &error);
    }
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
  if (stage->given[index]) {
    planish_mistake(reading->mistakes, node->key->line, node->key->column,
                    "%s: stands in the stage and under controls: keep one", port->symbol);
  }
  stage->given[index] = true;
  if (!planish_sheet_check_audition(port, stage->values[index], reading->audition, &error)) {
    tell(reading, node, &error);
  }
}

static void read_preset(PlanishSheetReading *reading, PlanishSheetStage *stage,
                        const PlanishNode *node)
{
  PlanishError error = {0};
  if (node->bad) {
    return;
  }
  if (node->kind != PLANISH_NODE_SCALAR || node->text[0] == '\0') {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "preset: no name: give the label or the URI of a preset");
    return;
  }
  PlanishPreset *preset = planish_preset_new(reading->host, stage->plugin, node->text, &error);
  stage->preset = planish_text_copy(node->text);
  if (stage->preset == NULL) {
    planish_mistake_memory(reading->mistakes);
  }
  if (preset == NULL || !planish_sheet_take_preset(stage->plugin, preset, stage->values, &error)) {
    tell(reading, node, &error);
  }
  planish_preset_free(preset);
}

static void read_controls(PlanishSheetReading *reading, PlanishSheetStage *stage,
                          const PlanishNode *map)
{
  if (map->bad) {
    return;
  }
  if (map->kind != PLANISH_NODE_MAP) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "controls: no map: write symbols and values, such as {gain: 0}");
    return;
  }
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    if (node->key->kind == PLANISH_NODE_SCALAR) {
      planish_sheet_read_value(reading, stage, node);
    }
  }
}

static void read_settings(PlanishSheetReading *reading, PlanishSheetStage *stage,
                          const PlanishNode *map)
{
  const PlanishNode *preset = planish_sheet_member(map, "preset");
  if (preset != NULL) {
    read_preset(reading, stage, preset);
  }
  memcpy(stage->unset, stage->values, stage->plugin->port_count * sizeof *stage->unset);
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    const char *key = node->key->kind == PLANISH_NODE_SCALAR ? node->key->text : NULL;
    if (key != NULL && strcmp(key, "controls") == 0) {
      read_controls(reading, stage, node);
    } else if (key != NULL && !planish_sheet_is_stage_key(key)) {
      planish_sheet_read_value(reading, stage, node);
    }
  }
}

void planish_sheet_stage_free(PlanishSheetStage *stage)
{
  free(stage->name);
  free(stage->preset);
  free(stage->values);
  free(stage->unset);
  free(stage->given);
  *stage = (PlanishSheetStage){0};
}

static void read_stage(PlanishSheetReading *reading, const PlanishNode *map, uint32_t depth)
{
  PlanishSheet *sheet = reading->sheet;
  PlanishSheetStage *stage = &sheet->stages[sheet->stage_count];
  *stage = (PlanishSheetStage){.first = sheet->stage_count, .depth = depth};
  const bool known = read_plugin(reading, stage, map) && stage->plugin != NULL;
  read_name(reading, stage, map);
  if (known) {
    read_settings(reading, stage, map);
  }
  if (known && stage->name != NULL) {
    sheet->stage_count += 1;
  } else {
    planish_sheet_stage_free(stage);
  }
}

static bool is_branch(const PlanishNode *map)
{
  return planish_sheet_member(map, "branch") != NULL ||
         (planish_sheet_member(map, "stage") == NULL &&
          planish_sheet_member(map, "stages") != NULL);
}

void planish_sheet_read_path(PlanishSheetReading *reading, const PlanishNode *list, uint32_t depth)
{
  for (const PlanishNode *node = list->first; node != NULL; node = node->next) {
    if (node->bad) {
      continue;
    }
    if (node->kind != PLANISH_NODE_MAP) {
      planish_mistake(reading->mistakes, node->line, node->column,
                      "no stage: each is a map, such as {stage: limiter, name: first}");
    } else if (is_branch(node)) {
      planish_sheet_read_branch(reading, node, depth);
    } else {
      read_stage(reading, node, depth);
    }
  }
}

/* With all that stands in branches. */
static size_t count_all(const PlanishNode *list)
{
  size_t count = 0;
  for (const PlanishNode *node = list->first; node != NULL; node = node->next) {
    const PlanishNode *inner =
        node->kind == PLANISH_NODE_MAP ? planish_sheet_member(node, "stages") : NULL;
    count += 1 + (inner != NULL && inner->kind == PLANISH_NODE_LIST ? count_all(inner) : 0);
  }
  return count;
}

void planish_sheet_read_stages(PlanishSheetReading *reading, const PlanishNode *list)
{
  PlanishSheet *sheet = reading->sheet;
  reading->stages_left_out = true;
  if (list->kind != PLANISH_NODE_LIST) {
    planish_mistake(reading->mistakes, list->line, list->column,
                    "stages: no list: begin each stage with \"- \"");
    return;
  }
  const size_t count = count_all(list);
  if (count == 0) {
    planish_mistake(reading->mistakes, list->line, list->column,
                    "stages: an empty list: add a stage");
  }
  sheet->stages = calloc(count + 1, sizeof *sheet->stages);
  if (sheet->stages == NULL) {
    planish_mistake_memory(reading->mistakes);
    return;
  }
  planish_sheet_read_path(reading, list, 0);
  reading->stages_left_out = sheet->stage_count != count;
}
