/* planish stages: what is installed, and what a stage's controls are. */
#include "harness/base/json.h"
#include "harness/base/text.h"
#include "harness/host/host.h"
#include "harness/host/instance.h"
#include "harness/host/preset_list.h"
#include "harness/measure/measure.h"
#include "harness/program/commands.h"
#include "harness/program/opening.h"
#include "harness/program/options.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char help[] =
    "Usage: planish stages [OPTION]... [STAGE]...\n"
    "Lists the stages that are installed, with their latency; with names of stages\n"
    "(what follows urn:planish:, or a URI), their controls and presets.\n"
    "\n"
    "      --rate=HZ         the sample rate that latencies are for; 48000 if not given\n"
    "      --json            for machines\n"
    "      --bundle=FOLDER   the bundle of stages to use\n"
    "      --help\n"
    "\n"
    "Examples:\n"
    "  planish stages\n"
    "  planish stages --rate=96000 limiter\n"
    "  planish stages --json ms-eq dynamics > stages.json\n";

typedef struct {
  PlanishHost *host;
  double rate;
  bool json;
} Listing;

static bool latency_of(const Listing *listing, const PlanishPlugin *plugin, uint32_t *latency,
                       PlanishError *error)
{
  PlanishInstance *instance = planish_instance_new(plugin, listing->rate, error);
  if (instance == NULL) {
    return false;
  }
  planish_instance_activate(instance);
  planish_instance_run(instance, NULL, NULL, 0);
  *latency = planish_instance_latency(instance);
  planish_instance_free(instance);
  return true;
}

static bool list_one(const Listing *listing, const char *uri, PlanishJson *json,
                     PlanishError *error)
{
  const PlanishPlugin *plugin = planish_host_plugin(listing->host, uri, error);
  uint32_t latency = 0;
  if (plugin == NULL || !latency_of(listing, plugin, &latency, error)) {
    return false;
  }
  if (listing->json) {
    planish_json_object_begin(json, NULL);
    planish_json_string(json, "stage", planish_plugin_short_uri(plugin));
    planish_json_string(json, "uri", plugin->uri);
    planish_json_string(json, "name", plugin->name);
    planish_json_integer(json, "latency_frames", latency);
    planish_json_number(json, "rate_hz", listing->rate);
    planish_json_object_end(json);
  } else {
    planish_text_print(stdout, "%-24s %-34s %u frames, %.2f ms\n", planish_plugin_short_uri(plugin),
                       plugin->uri, (unsigned)latency, 1000.0 * latency / listing->rate);
  }
  return true;
}

/* What is wrong with one is told after the others; of several, with the first. */
static bool list_all(const Listing *listing, PlanishJson *json, PlanishError *error)
{
  if (!listing->json) {
    planish_text_print(stdout, "%-24s %-34s %s\n", "STAGE", "URI", "LATENCY");
  }
  for (uint32_t n = 0; n < planish_host_count(listing->host); ++n) {
    PlanishError own = {0};
    if (!list_one(listing, planish_host_uri(listing->host, n), json, &own)) {
      planish_fail(error, own.outcome, "%s", own.text);
    }
  }
  return error->outcome == PLANISH_DONE;
}

static void json_range(PlanishJson *json, const PlanishPluginPort *port)
{
  planish_json_number(json, "minimum", planish_text_six_digits(port->minimum));
  planish_json_number(json, "maximum", planish_text_six_digits(port->maximum));
  planish_json_number(json, "default", planish_text_six_digits(port->initial));
  planish_json_string(json, "unit", port->unit);
  planish_json_bool(json, "switch", port->toggled);
  planish_json_bool(json, "whole", port->whole);
  planish_json_bool(json, "logarithmic", port->logarithmic);
  planish_json_bool(json, "automatable", !port->not_automatic);
  planish_json_array_begin(json, "choices");
  for (uint32_t n = 0; n < port->point_count; ++n) {
    planish_json_object_begin(json, NULL);
    planish_json_string(json, "label", port->points[n].label);
    planish_json_number(json, "value", planish_text_six_digits(port->points[n].value));
    planish_json_object_end(json);
  }
  planish_json_array_end(json);
}

static void json_port(PlanishJson *json, const PlanishPluginPort *port)
{
  planish_json_object_begin(json, NULL);
  planish_json_string(json, "symbol", port->symbol);
  planish_json_string(json, "name", port->name);
  planish_json_bool(json, "input", port->kind == PLANISH_PLUGIN_CONTROL_INPUT);
  planish_json_string(json, "comment", port->comment);
  json_range(json, port);
  planish_json_object_end(json);
}

static const char *label_of(const PlanishPluginPort *port, float value)
{
  for (uint32_t n = 0; n < port->point_count; ++n) {
    if (port->points[n].value == value) {
      return port->points[n].label;
    }
  }
  return "";
}

static void print_range(const PlanishPluginPort *port, char *range, size_t size)
{
  const char *gap = port->unit[0] == '\0' ? "" : " ";
  if (port->toggled) {
    planish_text_format(range, size, "true, false");
  } else if (port->enumeration) {
    size_t used = 0;
    for (uint32_t n = 0; n < port->point_count && used < size; ++n) {
      used += (size_t)planish_text_format(range + used, size - used, "%s%s", n == 0 ? "" : ", ",
                                          port->points[n].label);
    }
  } else if (isfinite(port->minimum) && isfinite(port->maximum)) {
    planish_text_format(range, size, "%.8g to %.8g%s%s", planish_text_six_digits(port->minimum),
                        planish_text_six_digits(port->maximum), gap, port->unit);
  } else {
    planish_text_format(range, size, "%s", port->unit);
  }
}

static void print_initial(const PlanishPluginPort *port, char *initial, size_t size)
{
  if (port->kind == PLANISH_PLUGIN_CONTROL_OUTPUT) {
    planish_text_format(initial, size, "reported");
  } else if (port->toggled) {
    planish_text_format(initial, size, "%s", port->initial > 0.0f ? "true" : "false");
  } else if (port->enumeration) {
    planish_text_format(initial, size, "%s", label_of(port, port->initial));
  } else {
    planish_text_format(initial, size, "%.8g", planish_text_six_digits(port->initial));
  }
}

/* Words on lines of at most 80 characters, each indented. */
static void print_words(const char *text, int indent)
{
  const size_t width = 80 - (size_t)indent;
  while (*text != '\0') {
    size_t length = strlen(text);
    if (length > width) {
      length = width;
      while (length > 0 && text[length] != ' ') {
        --length;
      }
      length = length == 0 ? strcspn(text, " ") : length;
    }
    planish_text_print(stdout, "%*s%.*s\n", indent, "", (int)length, text);
    text += length;
    text += strspn(text, " ");
  }
}

static bool is_control(const PlanishPluginPort *port)
{
  return port->kind == PLANISH_PLUGIN_CONTROL_INPUT || port->kind == PLANISH_PLUGIN_CONTROL_OUTPUT;
}

/* Of the columns of symbols and defaults, by the longest of them. */
typedef struct {
  int symbol;
  int initial;
} Widths;

static Widths widths_of(const PlanishPlugin *plugin)
{
  Widths widths = {16, 12};
  char initial[80];
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    const PlanishPluginPort *port = &plugin->ports[n];
    if (is_control(port)) {
      const int symbol = (int)strlen(port->symbol);
      print_initial(port, initial, sizeof initial);
      const int length = (int)strlen(initial);
      widths.symbol = symbol > widths.symbol ? symbol : widths.symbol;
      widths.initial = length > widths.initial ? length : widths.initial;
    }
  }
  return widths;
}

static void print_port(const PlanishPluginPort *port, Widths widths)
{
  char range[320];
  char initial[80];
  print_range(port, range, sizeof range);
  print_initial(port, initial, sizeof initial);
  planish_text_print(stdout, "  %-*s %-*s %s\n", widths.symbol, port->symbol, widths.initial,
                     initial, range);
  print_words(port->comment, 6);
}

static void list_presets(const PlanishPresetList *presets, PlanishJson *json)
{
  if (presets->count > 0 && json == NULL) {
    planish_text_print(stdout, "\n  PRESETS\n");
  }
  for (uint32_t n = 0; n < presets->count; ++n) {
    const PlanishPresetEntry *entry = &presets->entries[n];
    if (json == NULL) {
      planish_text_print(stdout, "  %s\n", entry->label);
      print_words(entry->comment, 6);
      continue;
    }
    planish_json_object_begin(json, NULL);
    planish_json_string(json, "label", entry->label);
    planish_json_string(json, "uri", entry->uri);
    planish_json_string(json, "comment", entry->comment);
    planish_json_number(json, "working_loudness_lufs",
                        planish_text_six_digits((float)entry->working));
    planish_json_number(json, "least_loudness_change_lu",
                        planish_text_six_digits((float)entry->least_loudness));
    planish_json_number(json, "most_loudness_change_lu",
                        planish_text_six_digits((float)entry->most_loudness));
    planish_json_number(json, "most_true_peak_change_db",
                        planish_text_six_digits((float)entry->most_peak));
    planish_json_object_end(json);
  }
}

static void list_controls(const Listing *listing, const PlanishPlugin *plugin, uint32_t latency,
                          const PlanishPresetList *presets, PlanishJson *json)
{
  const Widths widths = widths_of(plugin);
  if (listing->json) {
    planish_json_object_begin(json, NULL);
    planish_json_string(json, "stage", planish_plugin_short_uri(plugin));
    planish_json_string(json, "uri", plugin->uri);
    planish_json_string(json, "name", plugin->name);
    planish_json_string(json, "comment", plugin->comment);
    planish_json_integer(json, "latency_frames", latency);
    planish_json_number(json, "rate_hz", listing->rate);
    planish_json_array_begin(json, "controls");
  } else {
    planish_text_print(stdout, "%s, %s: %u frames of latency at %.8g Hz\n", plugin->name,
                       plugin->uri, (unsigned)latency, listing->rate);
    print_words(plugin->comment, 0);
    planish_text_print(stdout, "\n  %-*s %-*s %s\n", widths.symbol, "SYMBOL", widths.initial,
                       "DEFAULT", "RANGE");
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    const PlanishPluginPort *port = &plugin->ports[n];
    if (is_control(port) && listing->json) {
      json_port(json, port);
    } else if (is_control(port)) {
      print_port(port, widths);
    }
  }
  if (listing->json) {
    planish_json_array_end(json);
    planish_json_array_begin(json, "presets");
  }
  list_presets(presets, listing->json ? json : NULL);
  if (listing->json) {
    planish_json_array_end(json);
    planish_json_object_end(json);
  }
}

static bool list_named(const Listing *listing, char **names, int count, PlanishJson *json,
                       PlanishError *error)
{
  for (int n = 0; n < count; ++n) {
    const PlanishPlugin *plugin = planish_host_plugin(listing->host, names[n], error);
    uint32_t latency = 0;
    PlanishPresetList *presets =
        plugin == NULL ? NULL : planish_preset_list_new(listing->host, plugin, error);
    if (presets == NULL || !latency_of(listing, plugin, &latency, error)) {
      planish_preset_list_free(presets);
      return false;
    }
    if (n > 0 && !listing->json) {
      (void)putchar('\n');
    }
    list_controls(listing, plugin, latency, presets, json);
    planish_preset_list_free(presets);
  }
  return true;
}

bool planish_command_stages(int argc, char **argv, PlanishError *error)
{
  Listing listing;
  const char *bundle_option;
  const PlanishOption options[] = {
      {"rate", PLANISH_OPTION_NUMBER, &listing.rate},
      {"json", PLANISH_OPTION_FLAG, &listing.json},
      {"bundle", PLANISH_OPTION_TEXT, &bundle_option},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  listing.rate = isnan(listing.rate) ? 48000.0 : listing.rate;
  if (listing.rate < PLANISH_MEASURE_MIN_RATE || listing.rate > PLANISH_MEASURE_MAX_RATE) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%g is out of range of a sample rate: --rate: give %g to %g Hz",
                        listing.rate, PLANISH_MEASURE_MIN_RATE, PLANISH_MEASURE_MAX_RATE);
  }
  listing.host = planish_opening_host(bundle_option, error);
  if (listing.host == NULL) {
    return false;
  }
  PlanishJson json = planish_json_on(stdout);
  if (listing.json) {
    planish_json_array_begin(&json, NULL);
  }
  const bool done = first == argc ? list_all(&listing, &json, error)
                                  : list_named(&listing, argv + first, argc - first, &json, error);
  if (listing.json) {
    planish_json_array_end(&json);
  }
  planish_host_free(listing.host);
  return done;
}
