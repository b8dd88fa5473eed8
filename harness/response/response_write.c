#include "harness/base/text.h"
#include "harness/response/response.h"

#include <math.h>

static void write_controls(PlanishJson *json, const PlanishProbeSetup *setup)
{
  planish_json_array_begin(json, "controls");
  for (uint32_t n = 0; n < setup->plugin->port_count; ++n) {
    const PlanishPluginPort *port = &setup->plugin->ports[n];
    if (port->kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      planish_json_object_begin(json, NULL);
      planish_json_string(json, "symbol", port->symbol);
      planish_json_number(json, "value", planish_text_six_digits(setup->values[n]));
      planish_json_string(json, "unit", port->unit);
      planish_json_object_end(json);
    }
  }
  planish_json_array_end(json);
}

static void write_table(PlanishJson *json, const PlanishResponseTable *table)
{
  planish_json_object_begin(json, table->key);
  for (size_t n = 0; n < table->fact_count; ++n) {
    planish_json_number(json, table->facts[n].key, table->facts[n].value);
  }
  if (table->may_settle) {
    planish_json_bool(json, "settled", table->settled);
  }
  for (size_t c = 0; c < table->column_count; ++c) {
    planish_json_array_begin(json, table->columns[c].key);
    for (size_t n = 0; n < table->rows; ++n) {
      planish_json_number(json, NULL, table->columns[c].values[n]);
    }
    planish_json_array_end(json);
  }
  planish_json_object_end(json);
}

void planish_response_json(PlanishJson *json, const PlanishResponse *response)
{
  const PlanishProbeSetup *setup = &response->setup;
  planish_json_object_begin(json, NULL);
  planish_json_string(json, "stage", planish_plugin_short_uri(setup->plugin));
  planish_json_string(json, "uri", setup->plugin->uri);
  planish_json_string(json, "name", setup->plugin->name);
  planish_json_number(json, "rate_hz", setup->rate);
  planish_json_string(json, "preset", setup->preset);
  planish_json_string(json, "channel", planish_probe_channel_name(setup->channel));
  planish_json_integer(json, "latency_frames", response->latency);
  write_controls(json, setup);
  for (int n = 0; n < PLANISH_RESPONSE_MEASURES; ++n) {
    if (response->tables[n].key != NULL) {
      write_table(json, &response->tables[n]);
    }
  }
  planish_json_object_end(json);
}

static void write_row(FILE *file, const PlanishResponseTable *table, size_t row)
{
  for (size_t c = 0; c < table->column_count; ++c) {
    const double value = table->columns[c].values[row];
    if (c > 0) {
      (void)fputs(",", file);
    }
    if (isfinite(value)) {
      planish_text_print(file, "%.9g", value == 0.0 ? 0.0 : value); /* not "-0" */
    }
  }
  (void)fputs("\n", file);
}

void planish_response_csv(FILE *file, const PlanishResponse *response)
{
  bool is_first = true;
  for (int m = 0; m < PLANISH_RESPONSE_MEASURES; ++m) {
    const PlanishResponseTable *table = &response->tables[m];
    if (table->key == NULL) {
      continue;
    }
    (void)fputs(is_first ? "" : "\n", file);
    is_first = false;
    for (size_t c = 0; c < table->column_count; ++c) {
      (void)fprintf(file, "%s%s", c == 0 ? "" : ",", table->columns[c].key);
    }
    (void)fputs("\n", file);
    for (size_t row = 0; row < table->rows; ++row) {
      write_row(file, table, row);
    }
  }
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
