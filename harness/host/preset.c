#include "harness/host/preset.h"

#include "harness/base/text.h"
#include "harness/host/uri_map.h"

#include <lv2/atom/atom.h>
#include <lv2/core/lv2.h>
#include <lv2/presets/presets.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#define RDF_TYPE   "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"
#define HEARD_ON   "urn:planish:vocabulary#heardOn"
#define RDFS_LABEL "http://www.w3.org/2000/01/rdf-schema#label"

/* What is looked for, and what came of it. */
typedef struct {
  const PlanishPlugin *plugin; /* NULL: of any */
  const char *name;
  char *uri;      /* of the preset that was found */
  unsigned found; /* how many have the label */
  PlanishNearest nearest;
  char nearest_label[128];
} Search;

/* What lilv hands over of a preset. */
typedef struct {
  PlanishPreset *preset;
  PlanishUriMap map;
  bool done;
} Filling;

static char *label_of(LilvWorld *world, const LilvNode *preset)
{
  LilvNode *predicate = lilv_new_uri(world, RDFS_LABEL);
  LilvNode *label = lilv_world_get(world, preset, predicate, NULL);
  if (label == NULL) {
    /* It may stand in the preset's own file. */
    lilv_world_load_resource(world, preset);
    label = lilv_world_get(world, preset, predicate, NULL);
  }
  char *text = planish_text_copy(label == NULL ? "" : lilv_node_as_string(label));
  lilv_node_free(label);
  lilv_node_free(predicate);
  return text;
}

static bool is_preset(LilvWorld *world, const LilvNode *node)
{
  LilvNode *type = lilv_new_uri(world, RDF_TYPE);
  LilvNode *class = lilv_new_uri(world, LV2_PRESETS__Preset);
  const bool is = lilv_world_ask(world, node, type, class);
  lilv_node_free(class);
  lilv_node_free(type);
  return is;
}

static char *heard_on(LilvWorld *world, const char *uri)
{
  LilvNode *preset = uri == NULL ? NULL : lilv_new_uri(world, uri);
  LilvNode *predicate = lilv_new_uri(world, HEARD_ON);
  LilvNode *value = preset == NULL ? NULL : lilv_world_get(world, preset, predicate, NULL);
  char *text = planish_text_copy(value == NULL ? "" : lilv_node_as_string(value));
  lilv_node_free(value);
  lilv_node_free(predicate);
  lilv_node_free(preset);
  return text;
}

/* The presets of the plugin, or all. */
static LilvNodes *candidates(LilvWorld *world, const PlanishPlugin *plugin)
{
  LilvNode *predicate = lilv_new_uri(world, plugin == NULL ? RDF_TYPE : LV2_CORE__appliesTo);
  LilvNode *object = lilv_new_uri(world, plugin == NULL ? LV2_PRESETS__Preset : plugin->uri);
  LilvNodes *nodes = lilv_world_find_nodes(world, NULL, predicate, object);
  lilv_node_free(object);
  lilv_node_free(predicate);
  return nodes;
}

static bool consider(Search *search, LilvWorld *world, const LilvNode *node, PlanishError *error)
{
  const char *uri = lilv_node_is_uri(node) ? lilv_node_as_uri(node) : "";
  char *label =
      uri[0] != '\0' && is_preset(world, node) ? label_of(world, node) : planish_text_copy("");
  if (label == NULL) {
    return planish_fail_memory(error);
  }
  const bool meant = strcasecmp(label, search->name) == 0 || strcmp(uri, search->name) == 0;
  if (meant && (search->uri == NULL || strcmp(search->uri, uri) != 0)) {
    search->found += 1;
    free(search->uri);
    search->uri = planish_text_copy(uri);
  }
  planish_nearest_consider(&search->nearest, label);
  if (search->nearest.best == label) {
    planish_text_line(search->nearest_label, sizeof search->nearest_label, "%s", label);
    search->nearest.best = search->nearest_label;
  }
  free(label);
  return !meant || search->uri != NULL || planish_fail_memory(error);
}

/* False on failure alone; search->uri is what was found. */
static bool look_in(Search *search, LilvWorld *world, PlanishError *error)
{
  if (world == NULL) {
    return false;
  }
  LilvNodes *nodes = candidates(world, search->plugin);
  bool done = true;
  LILV_FOREACH(nodes, i, nodes)
  {
    done = done && consider(search, world, lilv_nodes_get(nodes, i), error);
  }
  lilv_nodes_free(nodes);
  return done;
}

static bool fail_unknown(const Search *search, PlanishError *error)
{
  const char *owner =
      search->plugin == NULL ? "no stage" : planish_plugin_short_uri(search->plugin);
  const char *has = search->plugin == NULL ? "has a" : "has no";
  return search->nearest.best != NULL
             ? planish_fail(error, PLANISH_BAD_USE, "preset: %s %s preset %s: did you mean %s?",
                            owner, has, search->name, search->nearest.best)
             : planish_fail(error, PLANISH_BAD_USE,
                            "preset: %s %s preset %s: give the label or URI of one in the bundle "
                            "or in a folder of LV2_PATH",
                            owner, has, search->name);
}

static void take_value(const char *symbol, void *user, const void *value, uint32_t size,
                       uint32_t type)
{
  Filling *filling = user;
  PlanishPreset *preset = filling->preset;
  const char *uri = filling->map.unmap.unmap(filling->map.unmap.handle, type);
  double number = 0.0;
  if (uri == NULL) {
    filling->done = false;
    return;
  }
  if (strcmp(uri, LV2_ATOM__Float) == 0 && size == sizeof(float)) {
    number = (double)*(const float *)value;
  } else if (strcmp(uri, LV2_ATOM__Double) == 0 && size == sizeof(double)) {
    number = *(const double *)value;
  } else if (strcmp(uri, LV2_ATOM__Long) == 0 && size == sizeof(int64_t)) {
    number = (double)*(const int64_t *)value;
  } else if (size == sizeof(int32_t)) {
    number = (double)*(const int32_t *)value; /* Int and Bool */
  }
  PlanishPresetValue *longer = realloc(preset->values, (preset->count + 1) * sizeof *longer);
  if (longer == NULL) {
    filling->done = false;
    return;
  }
  preset->values = longer;
  longer[preset->count] = (PlanishPresetValue){planish_text_copy(symbol), number};
  filling->done = filling->done && longer[preset->count].symbol != NULL;
  preset->count += longer[preset->count].symbol == NULL ? 0 : 1;
}

static int by_symbol(const void *a, const void *b)
{
  return strcmp(((const PlanishPresetValue *)a)->symbol, ((const PlanishPresetValue *)b)->symbol);
}

static bool fill(Filling *filling, const LilvState *state, const char *name, PlanishError *error)
{
  PlanishPreset *preset = filling->preset;
  const char *label = lilv_state_get_label(state);
  const LilvNode *plugin = lilv_state_get_plugin_uri(state);
  preset->label = planish_text_copy(label == NULL ? name : label);
  preset->plugin_uri = planish_text_copy(plugin == NULL ? "" : lilv_node_as_uri(plugin));
  filling->done = preset->label != NULL && preset->plugin_uri != NULL;
  lilv_state_emit_port_values(state, take_value, filling);
  if (!filling->done) {
    return planish_fail_memory(error);
  }
  if (preset->count > 0) {
    qsort(preset->values, preset->count, sizeof *preset->values, by_symbol);
  }
  return lilv_state_get_num_properties(state) == 0 ||
         planish_fail(error, PLANISH_BAD_USE,
                      "preset: %s holds more than values of controls, which a sheet cannot: write "
                      "its values out",
                      name);
}

static LilvState *load(PlanishHost *host, const Search *search, LilvWorld *world,
                       PlanishUriMap *map)
{
  if (search->uri == NULL) {
    return access(search->name, R_OK) == 0
               ? lilv_state_new_from_file(planish_host_world(host), &map->map, NULL, search->name)
               : NULL;
  }
  LilvNode *node = lilv_new_uri(world, search->uri);
  lilv_world_load_resource(world, node);
  LilvState *state = lilv_state_new_from_world(world, &map->map, node);
  lilv_node_free(node);
  return state;
}

static bool is_file(const char *name)
{
  const size_t length = strlen(name);
  return length > 4 && strcmp(name + length - 4, ".ttl") == 0 && !planish_host_is_uri(name);
}

/* The world that has it; NULL with PLANISH_BAD_USE where none has. */
static LilvWorld *find(PlanishHost *host, Search *search, PlanishError *error)
{
  LilvWorld *world = planish_host_world(host);
  if (is_file(search->name)) {
    return world;
  }
  if (!look_in(search, world, error)) {
    return NULL;
  }
  if (search->found == 0) {
    world = planish_host_foreign_world(host, error);
    if (!look_in(search, world, error)) {
      return NULL;
    }
  }
  if (search->found > 1) {
    planish_fail(error, PLANISH_BAD_USE,
                 "preset: several are called %s: give the URI of one, such as %s", search->name,
                 search->uri);
  } else if (search->found == 0) {
    fail_unknown(search, error);
  }
  return search->found == 1 ? world : NULL;
}

PlanishPreset *planish_preset_new(PlanishHost *host, const PlanishPlugin *plugin, const char *name,
                                  PlanishError *error)
{
  Search search = {.plugin = plugin, .name = name, .nearest = planish_nearest_to(name)};
  Filling filling = {.preset = calloc(1, sizeof *filling.preset)};
  if (filling.preset == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  planish_uri_map_start(&filling.map);
  LilvWorld *world = find(host, &search, error);
  LilvState *state = world == NULL ? NULL : load(host, &search, world, &filling.map);
  bool done = state != NULL && fill(&filling, state, name, error);
  if (done) {
    filling.preset->heard_on = heard_on(world, search.uri);
    done = filling.preset->heard_on != NULL || planish_fail_memory(error);
  }
  if (world != NULL && state == NULL) {
    planish_fail(error, PLANISH_BAD_USE, "preset: %s cannot be read: save it again in the host",
                 name);
  } else if (done && plugin != NULL && strcmp(plugin->uri, filling.preset->plugin_uri) != 0) {
    done = planish_fail(error, PLANISH_BAD_USE, "preset: %s is one of %s: name one of %s", name,
                        filling.preset->plugin_uri, planish_plugin_short_uri(plugin));
  }
  lilv_state_free(state);
  planish_uri_map_release(&filling.map);
  free(search.uri);
  if (!done) {
    planish_preset_free(filling.preset);
    return NULL;
  }
  return filling.preset;
}

void planish_preset_free(PlanishPreset *preset)
{
  if (preset == NULL) {
    return;
  }
  for (uint32_t n = 0; n < preset->count; ++n) {
    free(preset->values[n].symbol);
  }
  free(preset->values);
  free(preset->label);
  free(preset->plugin_uri);
  free(preset->heard_on);
  free(preset);
}
