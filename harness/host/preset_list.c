#include "harness/host/preset_list.h"

#include "harness/base/text.h"

#include <lv2/core/lv2.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RDFS_NS       "http://www.w3.org/2000/01/rdf-schema#"
#define VOCABULARY_NS "urn:planish:vocabulary#"

static LilvNode *value_of(LilvWorld *world, const LilvNode *preset, const char *predicate)
{
  LilvNode *node = lilv_new_uri(world, predicate);
  LilvNode *value = lilv_world_get(world, preset, node, NULL);
  lilv_node_free(node);
  return value;
}

static char *text_of(LilvWorld *world, const LilvNode *preset, const char *predicate)
{
  LilvNode *value = value_of(world, preset, predicate);
  char *text = planish_text_copy(value == NULL ? "" : lilv_node_as_string(value));
  lilv_node_free(value);
  return text;
}

static double number_of(LilvWorld *world, const LilvNode *preset, const char *predicate)
{
  LilvNode *value = value_of(world, preset, predicate);
  const double number = lilv_node_is_float(value) || lilv_node_is_int(value)
                            ? (double)lilv_node_as_float(value)
                            : (double)NAN;
  lilv_node_free(value);
  return number;
}

/* False without memory. */
static bool read_entry(PlanishPresetEntry *entry, LilvWorld *world, const LilvNode *preset)
{
  lilv_world_load_resource(world, preset);
  *entry = (PlanishPresetEntry){
      .uri = planish_text_copy(lilv_node_as_string(preset)),
      .label = text_of(world, preset, RDFS_NS "label"),
      .comment = text_of(world, preset, RDFS_NS "comment"),
      .heard_on = text_of(world, preset, VOCABULARY_NS "heardOn"),
      .heard_as = text_of(world, preset, VOCABULARY_NS "heardAs"),
      .only_when_loud = text_of(world, preset, VOCABULARY_NS "onlyWhenLoud"),
      .heard_from = number_of(world, preset, VOCABULARY_NS "heardFrom"),
      .heard_to = number_of(world, preset, VOCABULARY_NS "heardTo"),
      .working = number_of(world, preset, VOCABULARY_NS "workingLoudness"),
      .least_loudness = number_of(world, preset, VOCABULARY_NS "leastLoudnessChange"),
      .most_loudness = number_of(world, preset, VOCABULARY_NS "mostLoudnessChange"),
      .most_peak = number_of(world, preset, VOCABULARY_NS "mostPeakChange"),
  };
  return entry->uri != NULL && entry->label != NULL && entry->comment != NULL &&
         entry->heard_on != NULL && entry->heard_as != NULL && entry->only_when_loud != NULL;
}

static int by_label(const void *a, const void *b)
{
  return strcmp(((const PlanishPresetEntry *)a)->label, ((const PlanishPresetEntry *)b)->label);
}

PlanishPresetList *planish_preset_list_new(PlanishHost *host, const PlanishPlugin *plugin,
                                           PlanishError *error)
{
  LilvWorld *world = planish_host_world(host);
  LilvNode *predicate = lilv_new_uri(world, LV2_CORE__appliesTo);
  LilvNode *object = lilv_new_uri(world, plugin->uri);
  LilvNodes *nodes = lilv_world_find_nodes(world, NULL, predicate, object);
  PlanishPresetList *list = calloc(1, sizeof *list);
  bool done = list != NULL;
  if (done) {
    list->entries = calloc(lilv_nodes_size(nodes) + 1, sizeof *list->entries);
    done = list->entries != NULL;
  }
  LILV_FOREACH(nodes, i, nodes)
  {
    done = done && read_entry(&list->entries[list->count++], world, lilv_nodes_get(nodes, i));
  }
  lilv_nodes_free(nodes);
  lilv_node_free(object);
  lilv_node_free(predicate);
  if (!done) {
    planish_fail_memory(error);
    planish_preset_list_free(list);
    return NULL;
  }
  if (list->count > 1) {
    qsort(list->entries, list->count, sizeof *list->entries, by_label);
  }
  return list;
}

void planish_preset_list_free(PlanishPresetList *list)
{
  if (list == NULL) {
    return;
  }
  for (uint32_t n = 0; n < list->count; ++n) {
    free(list->entries[n].uri);
    free(list->entries[n].label);
    free(list->entries[n].comment);
    free(list->entries[n].heard_on);
    free(list->entries[n].heard_as);
    free(list->entries[n].only_when_loud);
  }
  free(list->entries);
  free(list);
}
