#include "harness/response/response.h"

#include "harness/base/text.h"
#include "harness/response/level_curve.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_FREQUENCIES = 512 };

static bool measure(PlanishResponse *response, PlanishError *error)
{
  double hz[MOST_FREQUENCIES];
  size_t count = 0;
  const double highest = planish_response_highest(response->setup.rate);
  while (count < MOST_FREQUENCIES) {
    const double next = PLANISH_RESPONSE_LOWEST_HZ * exp2((double)count / 48.0);
    hz[count++] = fmin(next, highest);
    if (next >= highest) {
      break;
    }
  }
  response->magnitude =
      planish_frequency_response_new(&response->setup, response->level, hz, count, error);
  for (int n = 0; n < PLANISH_RESPONSE_LEVELS; ++n) {
    response->in[n] = PLANISH_RESPONSE_LOWEST_LEVEL + n;
  }
  return response->magnitude != NULL &&
         planish_level_curve(&response->setup, response->tone, response->in, response->out,
                             PLANISH_RESPONSE_LEVELS, &response->curve_settled, error);
}

PlanishResponse *planish_response_new(const PlanishProbeSetup *setup, double level, double tone,
                                      PlanishError *error)
{
  PlanishResponse *response = calloc(1, sizeof *response);
  if (response == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  response->setup = *setup;
  response->level = level;
  response->tone = tone;
  if (!measure(response, error)) {
    planish_response_free(response);
    return NULL;
  }
  return response;
}

void planish_response_free(PlanishResponse *response)
{
  if (response != NULL) {
    planish_frequency_response_free(response->magnitude);
    free(response);
  }
}

static void write_numbers(PlanishJson *json, const char *key, const double *values, size_t count)
{
  planish_json_array_begin(json, key);
  for (size_t n = 0; n < count; ++n) {
    planish_json_number(json, NULL, values[n]);
  }
  planish_json_array_end(json);
}

static void write_controls(PlanishJson *json, const PlanishProbeSetup *setup)
{
  planish_json_array_begin(json, "controls");
  for (uint32_t n = 0; n < setup->plugin->port_count; ++n) {
    const PlanishPluginPort *port = &setup->plugin->ports[n];
    if (port->kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      planish_json_object_begin(json, NULL);
      planish_json_string(json, "symbol", port->symbol);
      planish_json_number(json, "value", (double)setup->values[n]);
      planish_json_string(json, "unit", port->unit);
      planish_json_object_end(json);
    }
  }
  planish_json_array_end(json);
}

void planish_response_json(PlanishJson *json, const PlanishResponse *response)
{
  const PlanishProbeSetup *setup = &response->setup;
  const PlanishFrequencyResponse *magnitude = response->magnitude;
  planish_json_object_begin(json, NULL);
  planish_json_string(json, "stage", planish_plugin_short_uri(setup->plugin));
  planish_json_string(json, "uri", setup->plugin->uri);
  planish_json_string(json, "name", setup->plugin->name);
  planish_json_number(json, "rate_hz", setup->rate);
  planish_json_string(json, "channel", planish_probe_channel_name(setup->channel));
  planish_json_integer(json, "latency_frames", magnitude->latency);
  write_controls(json, setup);
  planish_json_object_begin(json, "magnitude");
  planish_json_number(json, "noise_level_dbfs", response->level);
  planish_json_bool(json, "settled", magnitude->settled);
  planish_json_number(json, "duration_s", magnitude->seconds);
  write_numbers(json, "frequency_hz", magnitude->hz, magnitude->count);
  write_numbers(json, "magnitude_db", magnitude->levels, magnitude->count);
  planish_json_object_end(json);
  planish_json_object_begin(json, "static_curve");
  planish_json_number(json, "tone_hz", response->tone);
  planish_json_bool(json, "settled", response->curve_settled);
  write_numbers(json, "input_dbfs", response->in, PLANISH_RESPONSE_LEVELS);
  write_numbers(json, "output_dbfs", response->out, PLANISH_RESPONSE_LEVELS);
  planish_json_object_end(json);
  planish_json_object_end(json);
}

static int write_setting(const PlanishPluginPort *port, float value, char *text, size_t size)
{
  for (uint32_t n = 0; port->enumeration && n < port->point_count; ++n) {
    if (port->points[n].value == value) {
      return planish_text_format(text, size, "%s %s", port->symbol, port->points[n].label);
    }
  }
  if (port->toggled) {
    return planish_text_format(text, size, "%s %s", port->symbol, value > 0.0f ? "true" : "false");
  }
  return planish_text_format(text, size, "%s %.6g%s%s", port->symbol, (double)value,
                             port->unit[0] == '\0' ? "" : " ", port->unit);
}

void planish_response_settings(const PlanishResponse *response, char *text, size_t size)
{
  const PlanishPlugin *plugin = response->setup.plugin;
  size_t used = 0;
  text[0] = '\0';
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    const PlanishPluginPort *port = &plugin->ports[n];
    const float value = response->setup.values[n];
    if (port->kind != PLANISH_PLUGIN_CONTROL_INPUT || value == port->initial) {
      continue;
    }
    if (used > 0 && used < size) {
      used += (size_t)planish_text_format(text + used, size - used, ", ");
    }
    if (used < size) {
      used += (size_t)write_setting(port, value, text + used, size - used);
    }
  }
}
