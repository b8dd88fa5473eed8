/* planish response: what a stage does to frequencies and levels, measured. */
#include "harness/base/place.h"
#include "harness/base/text.h"
#include "harness/host/bundle.h"
#include "harness/host/host.h"
#include "harness/measure/measure.h"
#include "harness/program/commands.h"
#include "harness/program/options.h"
#include "harness/program/progress.h"
#include "harness/response/response.h"
#include "harness/sheet/sheet_value.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char help[] =
    "Usage: planish response [OPTION]... STAGE\n"
    "Measures a stage as it stands in the bundle, at its defaults or at given settings:\n"
    "\n"
    "  magnitude      its answer to steady pink noise at a low level, 20 Hz to 20 kHz: what\n"
    "                 it does to signals of that level, after its latency, once two periods\n"
    "                 of the noise (1.4 s) agree within 0.001 dB\n"
    "  static curve   the level of a steady tone that goes in at -80 to +6 dBFS (0 dBFS: a\n"
    "                 sine up to full scale), rising; at each level once three readings in\n"
    "                 a row, 0.1 s each, lie within 0.0005 dB. Harmonics do not count,\n"
    "                 so a clipped tone may read up to 2.1 dB over its ceiling\n"
    "\n"
    "      --set=SYMBOL=VALUE   a control's value; may be given again and again\n"
    "      --channel=NAME       where the signal is and what is read: stereo (the same on\n"
    "                           both, mean power; the default), mid, side, left, right\n"
    "      --level=DB           of the noise, rms re that of a full-scale sine; -40 if not\n"
    "                           given\n"
    "      --tone=HZ            of the static curve; 1000 if not given\n"
    "      --rate=HZ            the sample rate; 48000 if not given\n"
    "      --json               for machines: steps of 1/48 octave and of 1 dB\n"
    "      --svg=FILE           a picture, instead of the table\n"
    "      --bundle=FOLDER      the bundle of stages to use\n"
    "      --help\n";

typedef struct {
  const char *channel;
  const char *svg;
  const char *bundle;
  PlanishOptionTexts settings;
  double level;
  double tone;
  double rate;
  bool json;
  bool wants_help;
} Wishes;

static bool check_range(const char *option, double value, double least, double most,
                        const char *unit, PlanishError *error)
{
  return (value >= least && value <= most) ||
         planish_fail(error, PLANISH_BAD_USE, "%g is out of range: --%s: give %g to %g %s", value,
                      option, least, most, unit);
}

static bool check_wishes(Wishes *wishes, PlanishProbeSetup *setup, PlanishError *error)
{
  wishes->level = isnan(wishes->level) ? -40.0 : wishes->level;
  wishes->rate = isnan(wishes->rate) ? 48000.0 : wishes->rate;
  wishes->tone = isnan(wishes->tone) ? 1000.0 : wishes->tone;
  setup->rate = wishes->rate;
  const char *channel = wishes->channel == NULL ? "stereo" : wishes->channel;
  if (!planish_probe_channel(channel, &setup->channel)) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "no channel: --channel %s: give stereo, mid, side, left or right", channel);
  }
  return check_range("rate", wishes->rate, PLANISH_MEASURE_MIN_RATE, PLANISH_MEASURE_MAX_RATE, "Hz",
                     error) &&
         check_range("level", wishes->level, -120.0, 0.0, "dBFS", error) &&
         check_range("tone", wishes->tone, PLANISH_RESPONSE_LOWEST_HZ,
                     planish_response_highest(wishes->rate), "Hz", error);
}

static bool set_value(const PlanishPlugin *plugin, const char *setting, float *values,
                      PlanishError *error)
{
  char symbol[128];
  const char *equals = strchr(setting, '=');
  if (equals == NULL || equals - setting >= (ptrdiff_t)sizeof symbol) {
    return planish_fail(error, PLANISH_BAD_USE, "no setting: --set %s: give SYMBOL=VALUE", setting);
  }
  planish_text_format(symbol, sizeof symbol, "%.*s", (int)(equals - setting), setting);
  uint32_t port = 0;
  return planish_sheet_symbol(plugin, symbol, &port, error) &&
         planish_sheet_port_value(&plugin->ports[port], equals + 1, false, &values[port], error);
}

static float *read_values(const PlanishPlugin *plugin, const PlanishOptionTexts *settings,
                          PlanishError *error)
{
  float *values = calloc((size_t)plugin->port_count + 1, sizeof *values);
  if (values == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    values[n] = plugin->ports[n].initial;
  }
  for (size_t n = 0; n < settings->count; ++n) {
    if (!set_value(plugin, settings->list[n], values, error)) {
      free(values);
      return NULL;
    }
  }
  return values;
}

/* IEC 61260-1: exact mid-frequencies 10^(n/10), named by these. */
static double nominal(int n)
{
  static const double names[] = {1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0};
  const int decade = n / 10;
  return names[n % 10] * pow(10.0, decade);
}

static void print_level(int width, double value)
{
  if (isfinite(value)) {
    /* Not "-0.00". */
    planish_text_print(stdout, "%*.2f", width, fabs(value) < 0.005 ? 0.0 : value);
  } else {
    planish_text_print(stdout, "%*s", width, "silent");
  }
}

/* Every 10 dB where little happens, then every 2 dB; -1: no more. */
static int next_level(int n)
{
  const double level = PLANISH_RESPONSE_LOWEST_LEVEL + n;
  const int next = n + (level < -40.0 ? 10 : 2);
  return n >= 0 && next < PLANISH_RESPONSE_LEVELS ? next : -1;
}

static void print_table(const PlanishResponse *response)
{
  const PlanishProbeSetup *setup = &response->setup;
  char settings[1024];
  planish_response_settings(response, settings, sizeof settings);
  planish_text_print(stdout, "%s, %s: %.8g Hz, %s, %u frames of latency\n%s\n\n",
                     setup->plugin->name, setup->plugin->uri, setup->rate,
                     planish_probe_channel_name(setup->channel),
                     (unsigned)response->magnitude->latency,
                     settings[0] == '\0' ? "all controls at their defaults" : settings);
  planish_text_print(stdout, "magnitude at %6.1f dBFS       static curve of %.8g Hz\n",
                     response->level, response->tone);
  planish_text_print(stdout, "%10s%12s       %10s%12s%12s\n", "Hz", "dB", "in, dBFS", "out, dBFS",
                     "change, dB");
  int level = 0;
  for (int n = 13; n <= 43; ++n) {
    const double hz = pow(10.0, n / 10.0);
    if (hz <= planish_response_highest(setup->rate)) {
      planish_text_print(stdout, "%10.6g", nominal(n));
      print_level(12, planish_frequency_response_level(response->magnitude, hz));
    } else if (level >= 0) {
      planish_text_print(stdout, "%22s", "");
    } else {
      break;
    }
    if (level >= 0) {
      planish_text_print(stdout, "       ");
      print_level(10, response->in[level]);
      print_level(12, response->out[level]);
      print_level(12, response->out[level] - response->in[level]);
    }
    level = next_level(level);
    planish_text_print(stdout, "\n");
  }
}

static bool show(const Wishes *wishes, const PlanishResponse *response, PlanishError *error)
{
  if (!response->magnitude->settled) {
    planish_options_warn("the magnitude had not settled after %.1f s",
                         response->magnitude->seconds);
  }
  if (!response->curve_settled) {
    planish_options_warn("the static curve had not settled at every level");
  }
  if (wishes->json) {
    PlanishJson json = planish_json_on(stdout);
    planish_response_json(&json, response);
  }
  if (wishes->svg != NULL) {
    return planish_response_picture(response, wishes->svg, error);
  }
  if (!wishes->json) {
    print_table(response);
  }
  return true;
}

static bool respond(const Wishes *wishes, const PlanishProbeSetup *wanted, PlanishError *error)
{
  PlanishProbeSetup setup = *wanted;
  float *values = read_values(setup.plugin, &wishes->settings, error);
  PlanishProgress progress = planish_progress_new();
  setup.values = values;
  setup.told = planish_progress_tell;
  setup.told_user = &progress;
  PlanishResponse *response =
      values == NULL ? NULL : planish_response_new(&setup, wishes->level, wishes->tone, error);
  planish_progress_end(&progress);
  const bool done = response != NULL && show(wishes, response, error);
  planish_response_free(response);
  free(values);
  return done;
}

bool planish_command_response(int argc, char **argv, PlanishError *error)
{
  Wishes wishes;
  const PlanishOption options[] = {
      {"set", PLANISH_OPTION_TEXTS, &wishes.settings},
      {"channel", PLANISH_OPTION_TEXT, &wishes.channel},
      {"level", PLANISH_OPTION_NUMBER, &wishes.level},
      {"tone", PLANISH_OPTION_NUMBER, &wishes.tone},
      {"rate", PLANISH_OPTION_NUMBER, &wishes.rate},
      {"json", PLANISH_OPTION_FLAG, &wishes.json},
      {"svg", PLANISH_OPTION_TEXT, &wishes.svg},
      {"bundle", PLANISH_OPTION_TEXT, &wishes.bundle},
      {"help", PLANISH_OPTION_FLAG, &wishes.wants_help},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, options, sizeof options / sizeof *options, &first, error)) {
    return false;
  }
  if (wishes.wants_help) {
    (void)fputs(help, stdout);
    return true;
  }
  if (argc - first != 1) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "one stage is looked at: give STAGE: see planish response --help");
  }
  PlanishProbeSetup setup = {0};
  if (!check_wishes(&wishes, &setup, error) ||
      (wishes.svg != NULL && !planish_place_check(wishes.svg, error))) {
    return false;
  }
  char *bundle = planish_bundle_find(wishes.bundle, error);
  PlanishHost *host = bundle == NULL ? NULL : planish_host_new(bundle, error);
  free(bundle);
  setup.plugin = host == NULL ? NULL : planish_host_plugin(host, argv[first], error);
  const bool done = setup.plugin != NULL && respond(&wishes, &setup, error);
  planish_host_free(host);
  return done;
}
