#include "harness/host/instance.h"

#include "harness/host/uri_map.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { CHANNELS = 2 };

struct PlanishInstance {
  const PlanishPlugin *plugin;
  LilvInstance *lilv[CHANNELS]; /* the second is NULL for a plugin of two channels */
  float *values[CHANNELS];      /* of control ports, by index */
  bool active;
  PlanishUriMap map;
  LV2_Feature map_feature;
  LV2_Feature unmap_feature;
  const LV2_Feature *features[3];
};

static void offer_features(PlanishInstance *instance)
{
  planish_uri_map_start(&instance->map);
  instance->map_feature = (LV2_Feature){LV2_URID__map, &instance->map.map};
  instance->unmap_feature = (LV2_Feature){LV2_URID__unmap, &instance->map.unmap};
  instance->features[0] = &instance->map_feature;
  instance->features[1] = &instance->unmap_feature;
  instance->features[2] = NULL;
}

/* lilv would tell of a missing library on standard error, in words of its own. */
static bool check_library(const PlanishPlugin *plugin, PlanishError *error)
{
  const LilvNode *uri = lilv_plugin_get_library_uri(plugin->lilv);
  char *path = uri == NULL ? NULL : lilv_node_get_path(uri, NULL);
  const bool there = path != NULL && access(path, R_OK) == 0;
  if (!there) {
    planish_fail(error, PLANISH_BAD_USE,
                 "a stage lacks its library %s: %s: install its bundle again",
                 path == NULL ? "" : path, plugin->uri);
  }
  lilv_free(path);
  return there;
}

static bool start(PlanishInstance *instance, uint32_t lane, double rate, PlanishError *error)
{
  const PlanishPlugin *plugin = instance->plugin;
  float *values = calloc((size_t)plugin->port_count + 1, sizeof *values);
  instance->values[lane] = values;
  if (values == NULL) {
    return planish_fail_memory(error);
  }
  if (!check_library(plugin, error)) {
    return false;
  }
  instance->lilv[lane] = lilv_plugin_instantiate(plugin->lilv, rate, instance->features);
  if (instance->lilv[lane] == NULL) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "a stage would not start at %g Hz: %s: check that its bundle is whole, and "
                        "the mix's sample rate",
                        rate, plugin->uri);
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    const PlanishPluginPort *port = &plugin->ports[n];
    values[n] = port->initial;
    const bool control =
        port->kind == PLANISH_PLUGIN_CONTROL_INPUT || port->kind == PLANISH_PLUGIN_CONTROL_OUTPUT;
    lilv_instance_connect_port(instance->lilv[lane], n, control ? &values[n] : NULL);
  }
  return true;
}

PlanishInstance *planish_instance_new(const PlanishPlugin *plugin, double rate, PlanishError *error)
{
  PlanishInstance *instance = calloc(1, sizeof *instance);
  if (instance == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  instance->plugin = plugin;
  offer_features(instance);
  if (!start(instance, 0, rate, error) ||
      (plugin->channels == 1 && !start(instance, 1, rate, error))) {
    planish_instance_free(instance);
    return NULL;
  }
  return instance;
}

void planish_instance_free(PlanishInstance *instance)
{
  if (instance == NULL) {
    return;
  }
  planish_instance_deactivate(instance);
  for (uint32_t lane = 0; lane < CHANNELS; ++lane) {
    if (instance->lilv[lane] != NULL) {
      lilv_instance_free(instance->lilv[lane]);
    }
    free(instance->values[lane]);
  }
  planish_uri_map_release(&instance->map);
  free(instance);
}

const PlanishPlugin *planish_instance_plugin(const PlanishInstance *instance)
{
  return instance->plugin;
}

bool planish_instance_set(PlanishInstance *instance, const char *symbol, float value)
{
  const int port = planish_plugin_find(instance->plugin, symbol);
  if (port < 0 || instance->plugin->ports[port].kind != PLANISH_PLUGIN_CONTROL_INPUT) {
    return false;
  }
  planish_instance_set_at(instance, (uint32_t)port, value);
  return true;
}

void planish_instance_set_at(PlanishInstance *instance, uint32_t port, float value)
{
  for (uint32_t lane = 0; lane < CHANNELS && instance->values[lane] != NULL; ++lane) {
    instance->values[lane][port] = value;
  }
}

float planish_instance_get(const PlanishInstance *instance, const char *symbol)
{
  const int port = planish_plugin_find(instance->plugin, symbol);
  return port < 0 ? NAN : planish_instance_get_at(instance, (uint32_t)port);
}

float planish_instance_get_at(const PlanishInstance *instance, uint32_t port)
{
  return instance->values[0][port];
}

void planish_instance_activate(PlanishInstance *instance)
{
  for (uint32_t lane = 0; lane < CHANNELS && instance->lilv[lane] != NULL; ++lane) {
    if (!instance->active) {
      lilv_instance_activate(instance->lilv[lane]);
    }
  }
  instance->active = true;
}

void planish_instance_deactivate(PlanishInstance *instance)
{
  for (uint32_t lane = 0; lane < CHANNELS && instance->lilv[lane] != NULL; ++lane) {
    if (instance->active) {
      lilv_instance_deactivate(instance->lilv[lane]);
    }
  }
  instance->active = false;
}

/* LV2 takes inputs without const, though a plugin must not write them. */
static void *without_const(const float *buffer)
{
  void *place;
  memcpy(&place, &buffer, sizeof place);
  return place;
}

void planish_instance_run(PlanishInstance *instance, const float *const in[2], float *const out[2],
                          uint32_t frames)
{
  const PlanishPlugin *plugin = instance->plugin;
  for (uint32_t c = 0; c < CHANNELS; ++c) {
    const uint32_t port = plugin->channels == 2 ? c : 0;
    LilvInstance *lilv = instance->lilv[plugin->channels == 2 ? 0 : c];
    lilv_instance_connect_port(lilv, plugin->audio_inputs[port],
                               in == NULL ? NULL : without_const(in[c]));
    lilv_instance_connect_port(lilv, plugin->audio_outputs[port], out == NULL ? NULL : out[c]);
  }
  for (uint32_t lane = 0; lane < CHANNELS && instance->lilv[lane] != NULL; ++lane) {
    lilv_instance_run(instance->lilv[lane], frames);
  }
}

uint32_t planish_instance_latency(const PlanishInstance *instance)
{
  const int port = instance->plugin->latency;
  const float frames = port < 0 ? 0.0f : instance->values[0][port];
  return frames > 0.0f && frames < 1e9f ? (uint32_t)lrintf(frames) : 0;
}

void planish_instance_connect(PlanishInstance *instance, uint32_t port, void *place)
{
  for (uint32_t lane = 0; lane < CHANNELS && instance->lilv[lane] != NULL; ++lane) {
    lilv_instance_connect_port(instance->lilv[lane], port, place);
  }
}
