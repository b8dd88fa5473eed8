#include "harness/host/plugin.h"

#include "harness/base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LV2_NS     "http://lv2plug.in/ns/lv2core#"
#define PPROPS_NS  "http://lv2plug.in/ns/ext/port-props#"
#define UNITS_NS   "http://lv2plug.in/ns/extensions/units#"
#define RDFS_NS    "http://www.w3.org/2000/01/rdf-schema#"
#define SETTLES    "urn:planish:vocabulary#settles"
#define RESTARTS   "urn:planish:vocabulary#restarts"
#define OF_ALL     "urn:planish:vocabulary#ofAll"
#define NO_READING "urn:planish:vocabulary#noReading"
#define URN_PREFIX "urn:planish:"

/* What instance.c hands over; a plugin that requires anything else is refused. */
static const char *const known_features[] = {
    "http://lv2plug.in/ns/ext/urid#map",
    "http://lv2plug.in/ns/ext/urid#unmap",
    "http://lv2plug.in/ns/ext/buf-size#boundedBlockLength",
    LV2_NS "inPlaceBroken",
    LV2_NS "hardRTCapable",
};

static char *copy_of(const LilvNode *node)
{
  return planish_text_copy(node == NULL ? "" : lilv_node_as_string(node));
}

static char *take_text(LilvNode *node)
{
  char *text = copy_of(node);
  lilv_node_free(node);
  return text;
}

static LilvNode *port_value(LilvWorld *world, const LilvPlugin *lilv, const LilvPort *port,
                            const char *predicate)
{
  LilvNode *uri = lilv_new_uri(world, predicate);
  LilvNode *value = lilv_port_get(lilv, port, uri);
  lilv_node_free(uri);
  return value;
}

static float number_or(LilvNode *node, float fallback)
{
  const bool is_number = lilv_node_is_float(node) || lilv_node_is_int(node);
  const float value = is_number ? lilv_node_as_float(node) : fallback;
  lilv_node_free(node);
  return value;
}

static bool port_is(LilvWorld *world, const LilvPlugin *lilv, const LilvPort *port,
                    const char *type)
{
  LilvNode *uri = lilv_new_uri(world, type);
  const bool is = lilv_port_is_a(lilv, port, uri);
  lilv_node_free(uri);
  return is;
}

static bool port_has(LilvWorld *world, const LilvPlugin *lilv, const LilvPort *port,
                     const char *property)
{
  LilvNode *uri = lilv_new_uri(world, property);
  const bool has = lilv_port_has_property(lilv, port, uri);
  lilv_node_free(uri);
  return has;
}

static PlanishPluginPortKind kind_of(LilvWorld *world, const LilvPlugin *lilv, const LilvPort *port)
{
  const bool input = port_is(world, lilv, port, LILV_URI_INPUT_PORT);
  if (port_is(world, lilv, port, LILV_URI_AUDIO_PORT)) {
    return input ? PLANISH_PLUGIN_AUDIO_INPUT : PLANISH_PLUGIN_AUDIO_OUTPUT;
  }
  if (port_is(world, lilv, port, LILV_URI_CONTROL_PORT)) {
    return input ? PLANISH_PLUGIN_CONTROL_INPUT : PLANISH_PLUGIN_CONTROL_OUTPUT;
  }
  return PLANISH_PLUGIN_OTHER;
}

static bool has_value(LilvWorld *world, const LilvPlugin *lilv, const LilvPort *port,
                      const char *predicate)
{
  LilvNode *value = port_value(world, lilv, port, predicate);
  const bool there = value != NULL;
  lilv_node_free(value);
  return there;
}

/* The symbol of a unit: from its own node (a unit of ours), else from its name in units:. */
static char *unit_of(LilvWorld *world, const LilvPlugin *lilv, const LilvPort *port)
{
  static const char *const shown[][2] = {{"db", "dB"}, {"hz", "Hz"}, {"khz", "kHz"},
                                         {"pc", "%"},  {"coef", ""}, {"frame", "frames"}};
  LilvNode *unit = port_value(world, lilv, port, UNITS_NS "unit");
  if (unit == NULL) {
    return planish_text_copy("");
  }
  LilvNode *predicate = lilv_new_uri(world, UNITS_NS "symbol");
  char *text = NULL;
  LilvNode *symbol = lilv_world_get(world, unit, predicate, NULL);
  if (symbol != NULL) {
    text = copy_of(symbol);
  } else if (lilv_node_is_uri(unit) &&
             strncmp(lilv_node_as_uri(unit), UNITS_NS, sizeof UNITS_NS - 1) == 0) {
    const char *name = lilv_node_as_uri(unit) + sizeof UNITS_NS - 1;
    for (size_t n = 0; n < sizeof shown / sizeof *shown; ++n) {
      name = strcmp(name, shown[n][0]) == 0 ? shown[n][1] : name;
    }
    text = planish_text_copy(name);
  } else {
    text = planish_text_copy("");
  }
  lilv_node_free(symbol);
  lilv_node_free(predicate);
  lilv_node_free(unit);
  return text;
}

static int by_value(const void *a, const void *b)
{
  const float x = ((const PlanishPluginPoint *)a)->value;
  const float y = ((const PlanishPluginPoint *)b)->value;
  return (x > y) - (x < y);
}

static bool read_points(PlanishPluginPort *port, const LilvPlugin *lilv, const LilvPort *lilv_port)
{
  LilvScalePoints *points = lilv_port_get_scale_points(lilv, lilv_port);
  const unsigned count = points == NULL ? 0 : lilv_scale_points_size(points);
  port->points = calloc(count + 1, sizeof *port->points);
  bool done = port->points != NULL;
  LILV_FOREACH(scale_points, i, points)
  {
    const LilvScalePoint *point = lilv_scale_points_get(points, i);
    if (done) {
      PlanishPluginPoint *next = &port->points[port->point_count++];
      next->value = lilv_node_as_float(lilv_scale_point_get_value(point));
      next->label = copy_of(lilv_scale_point_get_label(point));
      done = next->label != NULL;
    }
  }
  lilv_scale_points_free(points);
  if (done) {
    qsort(port->points, port->point_count, sizeof *port->points, by_value);
  }
  return done;
}

static bool read_port(PlanishPluginPort *port, LilvWorld *world, const LilvPlugin *lilv,
                      uint32_t index)
{
  const LilvPort *lilv_port = lilv_plugin_get_port_by_index(lilv, index);
  if (lilv_port == NULL) {
    return false;
  }
  port->kind = kind_of(world, lilv, lilv_port);
  port->symbol = copy_of(lilv_port_get_symbol(lilv, lilv_port));
  port->name = take_text(lilv_port_get_name(lilv, lilv_port));
  port->short_name = take_text(port_value(world, lilv, lilv_port, LV2_NS "shortName"));
  port->comment = take_text(port_value(world, lilv, lilv_port, RDFS_NS "comment"));
  port->unit = unit_of(world, lilv, lilv_port);
  port->has_unit = has_value(world, lilv, lilv_port, UNITS_NS "unit");
  port->minimum = number_or(port_value(world, lilv, lilv_port, LV2_NS "minimum"), -HUGE_VALF);
  port->maximum = number_or(port_value(world, lilv, lilv_port, LV2_NS "maximum"), HUGE_VALF);
  port->initial = number_or(port_value(world, lilv, lilv_port, LV2_NS "default"), 0.0f);
  port->whole = port_has(world, lilv, lilv_port, LV2_NS "integer");
  port->toggled = port_has(world, lilv, lilv_port, LV2_NS "toggled");
  port->enumeration = port_has(world, lilv, lilv_port, LV2_NS "enumeration");
  port->logarithmic = port_has(world, lilv, lilv_port, PPROPS_NS "logarithmic");
  port->not_automatic = port_has(world, lilv, lilv_port, PPROPS_NS "notAutomatic");
  port->optional = port_has(world, lilv, lilv_port, LV2_NS "connectionOptional");
  port->side_chain = port_has(world, lilv, lilv_port, LV2_NS "isSideChain");
  port->restarts = port_has(world, lilv, lilv_port, RESTARTS);
  port->of_all = port_has(world, lilv, lilv_port, OF_ALL);
  port->no_reading = number_or(port_value(world, lilv, lilv_port, NO_READING), NAN);
  return port->symbol != NULL && port->name != NULL && port->short_name != NULL &&
         port->comment != NULL && port->unit != NULL && read_points(port, lilv, lilv_port);
}

static int port_designated(LilvWorld *world, const LilvPlugin *lilv, const char *designation,
                           bool input)
{
  LilvNode *class = lilv_new_uri(world, input ? LILV_URI_INPUT_PORT : LILV_URI_OUTPUT_PORT);
  LilvNode *uri = lilv_new_uri(world, designation);
  const LilvPort *port = lilv_plugin_get_port_by_designation(lilv, class, uri);
  const int index = port == NULL ? -1 : (int)lilv_port_get_index(lilv, port);
  lilv_node_free(uri);
  lilv_node_free(class);
  return index;
}

/* lv2:minorVersion or lv2:microVersion; 0: not said. */
static unsigned version_of(LilvWorld *world, const LilvPlugin *lilv, const char *predicate)
{
  LilvNode *uri = lilv_new_uri(world, predicate);
  LilvNodes *values = lilv_plugin_get_value(lilv, uri);
  const LilvNode *first = values == NULL ? NULL : lilv_nodes_get_first(values);
  const int version = lilv_node_is_int(first) ? lilv_node_as_int(first) : 0;
  lilv_nodes_free(values);
  lilv_node_free(uri);
  return version > 0 ? (unsigned)version : 0;
}

static double settles_of(LilvWorld *world, const LilvPlugin *lilv)
{
  LilvNode *uri = lilv_new_uri(world, SETTLES);
  LilvNodes *values = lilv_plugin_get_value(lilv, uri);
  const LilvNode *value = values == NULL ? NULL : lilv_nodes_get_first(values);
  const bool is_number = value != NULL && (lilv_node_is_float(value) || lilv_node_is_int(value));
  const double seconds = is_number ? (double)lilv_node_as_float(value) : 0.0;
  lilv_nodes_free(values);
  lilv_node_free(uri);
  return seconds > 0.0 ? seconds : 0.0;
}

static bool check_features(const PlanishPlugin *plugin, PlanishError *error)
{
  LilvNodes *required = lilv_plugin_get_required_features(plugin->lilv);
  bool all = true;
  LILV_FOREACH(nodes, i, required)
  {
    const char *uri = lilv_node_as_uri(lilv_nodes_get(required, i));
    bool known = false;
    for (size_t n = 0; n < sizeof known_features / sizeof *known_features; ++n) {
      known = known || strcmp(uri, known_features[n]) == 0;
    }
    if (all && !known) {
      all = planish_fail(error, PLANISH_BAD_USE,
                         "cannot run a plugin that requires %s: %s: use another", uri, plugin->uri);
    }
  }
  lilv_nodes_free(required);
  return all;
}

static bool take_audio(uint32_t indices[2], uint32_t *count, uint32_t index)
{
  if (*count == 2) {
    return false;
  }
  indices[(*count)++] = index;
  return true;
}

/* Finds the audio ports, and whether every other port may stay unconnected. */
static bool sort_ports(PlanishPlugin *plugin, PlanishError *error)
{
  uint32_t inputs = 0;
  uint32_t outputs = 0;
  const PlanishPluginPort *odd = NULL;
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    const PlanishPluginPort *port = &plugin->ports[n];
    bool placed = port->optional || port->kind == PLANISH_PLUGIN_CONTROL_INPUT ||
                  port->kind == PLANISH_PLUGIN_CONTROL_OUTPUT;
    if (port->kind == PLANISH_PLUGIN_AUDIO_INPUT && !port->side_chain && !port->optional) {
      placed = take_audio(plugin->audio_inputs, &inputs, n);
    } else if (port->kind == PLANISH_PLUGIN_AUDIO_OUTPUT && !port->optional) {
      placed = take_audio(plugin->audio_outputs, &outputs, n);
    }
    odd = placed || odd != NULL ? odd : port;
  }
  if (odd != NULL) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "nothing to connect to port %s: %s: use a stereo or mono effect",
                        odd->symbol, plugin->uri);
  }
  if (inputs != outputs || inputs == 0) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%u audio inputs and %u outputs: %s: use a stereo or mono effect",
                        (unsigned)inputs, (unsigned)outputs, plugin->uri);
  }
  plugin->channels = inputs;
  return true;
}

/* By its own words: the classes of the LV2 core need not be loaded. */
static bool is_of_class(LilvWorld *world, const LilvPlugin *lilv, const char *uri)
{
  LilvNode *type = lilv_new_uri(world, LILV_NS_RDF "type");
  LilvNode *class = lilv_new_uri(world, uri);
  LilvNodes *types = lilv_plugin_get_value(lilv, type);
  const bool found = types != NULL && lilv_nodes_contains(types, class);
  lilv_nodes_free(types);
  lilv_node_free(class);
  lilv_node_free(type);
  return found;
}

static bool read_plugin(PlanishPlugin *plugin, LilvWorld *world, PlanishError *error)
{
  plugin->uri = copy_of(lilv_plugin_get_uri(plugin->lilv));
  plugin->name = take_text(lilv_plugin_get_name(plugin->lilv));
  LilvNode *comment_uri = lilv_new_uri(world, RDFS_NS "comment");
  LilvNodes *comments = lilv_plugin_get_value(plugin->lilv, comment_uri);
  plugin->comment = copy_of(comments == NULL ? NULL : lilv_nodes_get_first(comments));
  lilv_nodes_free(comments);
  lilv_node_free(comment_uri);
  plugin->port_count = lilv_plugin_get_num_ports(plugin->lilv);
  plugin->ports = calloc((size_t)plugin->port_count + 1, sizeof *plugin->ports);
  if (plugin->uri == NULL || plugin->name == NULL || plugin->comment == NULL ||
      plugin->ports == NULL) {
    return planish_fail_memory(error);
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    if (!read_port(&plugin->ports[n], world, plugin->lilv, n)) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "port %u cannot be read: %s: the plugin's Turtle is broken", (unsigned)n,
                          plugin->uri);
    }
  }
  plugin->latency = port_designated(world, plugin->lilv, LV2_NS "latency", false);
  if (plugin->latency < 0 && lilv_plugin_has_latency(plugin->lilv)) {
    plugin->latency = (int)lilv_plugin_get_latency_port_index(plugin->lilv);
  }
  plugin->enabled = port_designated(world, plugin->lilv, LV2_NS "enabled", true);
  plugin->settles = settles_of(world, plugin->lilv);
  plugin->is_limiter = is_of_class(world, plugin->lilv, LV2_NS "LimiterPlugin");
  plugin->minor_version = version_of(world, plugin->lilv, LV2_NS "minorVersion");
  plugin->micro_version = version_of(world, plugin->lilv, LV2_NS "microVersion");
  return check_features(plugin, error) && sort_ports(plugin, error);
}

PlanishPlugin *planish_plugin_new(LilvWorld *world, const LilvPlugin *lilv, PlanishError *error)
{
  PlanishPlugin *plugin = calloc(1, sizeof *plugin);
  if (plugin == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  plugin->lilv = lilv;
  if (!read_plugin(plugin, world, error)) {
    planish_plugin_free(plugin);
    return NULL;
  }
  return plugin;
}

void planish_plugin_free(PlanishPlugin *plugin)
{
  if (plugin == NULL) {
    return;
  }
  for (uint32_t n = 0; plugin->ports != NULL && n < plugin->port_count; ++n) {
    PlanishPluginPort *port = &plugin->ports[n];
    for (uint32_t p = 0; p < port->point_count; ++p) {
      free(port->points[p].label);
    }
    free(port->points);
    free(port->symbol);
    free(port->name);
    free(port->short_name);
    free(port->comment);
    free(port->unit);
  }
  free(plugin->ports);
  free(plugin->comment);
  free(plugin->name);
  free(plugin->uri);
  free(plugin);
}

int planish_plugin_find(const PlanishPlugin *plugin, const char *symbol)
{
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    if (strcmp(plugin->ports[n].symbol, symbol) == 0) {
      return (int)n;
    }
  }
  return -1;
}

const char *planish_plugin_short_uri(const PlanishPlugin *plugin)
{
  const size_t length = sizeof URN_PREFIX - 1;
  return strncmp(plugin->uri, URN_PREFIX, length) == 0 ? plugin->uri + length : plugin->uri;
}
