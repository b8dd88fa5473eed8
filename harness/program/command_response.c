/* planish response: what a stage does to frequencies and levels, measured. */
#include "harness/base/place.h"
#include "harness/base/text.h"
#include "harness/host/host.h"
#include "harness/host/preset.h"
#include "harness/measure/measure.h"
#include "harness/program/commands.h"
#include "harness/program/opening.h"
#include "harness/program/options.h"
#include "harness/program/progress.h"
#include "harness/program/response_table.h"
#include "harness/response/response.h"
#include "harness/sheet/sheet_value.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char help[] =
    "Usage: planish response [OPTION]... STAGE\n"
    "Measures a stage as it stands in the bundle, or any LV2 effect in LV2_PATH by its URI,\n"
    "at its defaults or at given settings. All is lined up with the latency that the stage\n"
    "reports: a delay that it reports is no phase.\n"
    "\n"
    "  frequency   magnitude, phase and group delay: its answer to steady pink noise at a\n"
    "              low level, 20 Hz to 20 kHz: what it does to signals of that level, once\n"
    "              two periods of the noise (1.4 s) agree within 0.001 dB\n"
    "  curve       the level of a steady tone that goes in at -80 to +6 dBFS (0 dBFS: a\n"
    "              sine up to full scale), rising; at each level once three readings in\n"
    "              a row, 0.1 s each, lie within 0.0005 dB. Harmonics do not count,\n"
    "              so a clipped tone may read up to 2.1 dB over its ceiling\n"
    "  harmonics   the second to the tenth of that tone, and the rest, what folds back at\n"
    "              half the rate included, re the tone that comes out\n"
    "  sweep       the same by the frequency of the tone, at one level\n"
    "  impulse     the answer to one frame of -20 dBFS, re that\n"
    "  step        the answer to -20 dBFS from one frame on, re that\n"
    "  burst       the gain on a tone of -40 dBFS that rises for 0.5 s and falls back, over\n"
    "              two periods at a time: how fast a stage takes hold and lets go\n"
    "\n"
    "Without --measure: frequency and curve; impulse where the stage is not flat, harmonics\n"
    "where they reach -100 dB, burst where the curve is not straight.\n"
    "\n"
    "      --measure=NAMES      which of the above, with commas between; all: every one\n"
    "      --preset=NAME        of the stage, by label or URI; default settings if not given\n"
    "      --set=SYMBOL=VALUE   a control's value, over the preset's; may be given again and\n"
    "                           again\n"
    "      --channel=NAME       where the signal is and what is read: stereo (the same on\n"
    "                           both, mean power), mid, side, left, right. If not given,\n"
    "                           mid or side for a preset that says it works there, else\n"
    "                           stereo\n"
    "      --level=DB           of the noise, rms re that of a full-scale sine; -40 if not\n"
    "                           given\n"
    "      --bell=HZ,DB,Q       in the spectrum of the noise: so much higher there, as where a\n"
    "                           room or a string rings, or lower, under 0 dB; may be given\n"
    "                           again and again; the table then has what goes in and what\n"
    "                           comes out, re pink noise\n"
    "      --tone=HZ            of curve, harmonics and burst; 997 if not given\n"
    "      --drive=DB           the level of sweep and burst, in dBFS; 0 if not given\n"
    "      --rate=HZ            the sample rate; 48000 if not given\n"
    "      --json               for machines: steps of 1/48 octave and of 1 dB\n"
    "      --csv                the same as tables, a header row over each and a blank\n"
    "                           line between two\n"
    "      --svg=FILE           a picture, instead of the table\n"
    "      --bundle=FOLDER      the bundle of stages to use\n"
    "      --help\n"
    "\n"
    "Examples:\n"
    "  planish response limiter --set=input_gain=6 --svg=limiter.svg\n"
    "  planish response ms-eq --preset='A little warmer' --svg=warmer.svg\n"
    "  planish response ms-eq --set=b3_gain=-6 --channel=side --measure=frequency --csv\n"
    "  planish response clipper --measure=sweep,harmonics --drive=-6\n";

typedef struct {
  const char *measures;
  const char *channel;
  const char *svg;
  const char *bundle;
  const char *preset;
  PlanishOptionTexts settings;
  PlanishOptionTexts bells;
  double level;
  double tone;
  double drive;
  double rate;
  bool json;
  bool csv;
} Wishes;

static bool read_measures(const char *text, unsigned *measures, PlanishError *error)
{
  char name[32];
  while (text != NULL) {
    const size_t length = strcspn(text, ",");
    PlanishResponseMeasure measure = PLANISH_RESPONSE_MEASURES;
    planish_text_format(name, sizeof name, "%.*s", (int)(length < sizeof name ? length : 0), text);
    if (strcmp(name, "all") == 0) {
      *measures |= PLANISH_RESPONSE_BIT(PLANISH_RESPONSE_MEASURES) - 1u;
    } else if (planish_response_measure(name, &measure)) {
      *measures |= PLANISH_RESPONSE_BIT(measure);
    } else {
      return planish_fail(error, PLANISH_BAD_USE,
                          "no measure: --measure %s: give frequency, curve, harmonics, sweep, "
                          "impulse, step, burst or all",
                          text);
    }
    /* What follows a comma is a name, be it an empty one. */
    if (text[length] == '\0') {
      return true;
    }
    text += length + 1;
  }
  return true;
}

static bool check_range(const char *option, double value, double least, double most,
                        const char *unit, PlanishError *error)
{
  return (value >= least && value <= most) ||
         planish_fail(error, PLANISH_BAD_USE, "%g is out of range: --%s: give %g to %g %s", value,
                      option, least, most, unit);
}

/* HZ,DB,Q */
static bool read_bell(const char *text, double rate, PlanishNoise *noise, PlanishError *error)
{
  double numbers[3] = {0.0};
  char part[64];
  const char *at = text;
  bool done = noise->bell_count < PLANISH_NOISE_BELLS;
  for (int n = 0; done && n < 3; ++n) {
    const size_t length = strcspn(at, ",");
    planish_text_format(part, sizeof part, "%.*s", (int)(length < sizeof part ? length : 0), at);
    done = planish_text_number(part, &numbers[n]) && at[length] == (n < 2 ? ',' : '\0');
    at += length + (n < 2 ? 1 : 0);
  }
  const PlanishNoiseBell bell = {numbers[0], numbers[1], numbers[2]};
  done = done && bell.hz >= PLANISH_RESPONSE_LOWEST_HZ &&
         bell.hz <= planish_response_highest(rate) && fabs(bell.gain) <= 40.0 && bell.q >= 0.1 &&
         bell.q <= 100.0;
  if (!done) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "no bell: --bell %s: give up to %d, each HZ,DB,Q: %g to %g Hz, -40 to 40 "
                        "dB, Q of 0.1 to 100",
                        text, PLANISH_NOISE_BELLS, PLANISH_RESPONSE_LOWEST_HZ,
                        planish_response_highest(rate));
  }
  noise->bells[noise->bell_count++] = bell;
  return true;
}

static bool read_noise(const Wishes *wishes, PlanishNoise *noise, PlanishError *error)
{
  *noise = (PlanishNoise){.level = wishes->level};
  for (size_t n = 0; n < wishes->bells.count; ++n) {
    if (!read_bell(wishes->bells.list[n], wishes->rate, noise, error)) {
      return false;
    }
  }
  return true;
}

static bool check_wishes(Wishes *wishes, PlanishProbeSetup *setup, PlanishError *error)
{
  wishes->level = isnan(wishes->level) ? -40.0 : wishes->level;
  wishes->rate = isnan(wishes->rate) ? 48000.0 : wishes->rate;
  wishes->tone = isnan(wishes->tone) ? 997.0 : wishes->tone;
  wishes->drive = isnan(wishes->drive) ? 0.0 : wishes->drive;
  setup->rate = wishes->rate;
  setup->channel = PLANISH_PROBE_STEREO;
  if (wishes->channel != NULL && !planish_probe_channel(wishes->channel, &setup->channel)) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "no channel: --channel %s: give stereo, mid, side, left or right",
                        wishes->channel);
  }
  return check_range("rate", wishes->rate, PLANISH_MEASURE_MIN_RATE, PLANISH_MEASURE_MAX_RATE, "Hz",
                     error) &&
         check_range("level", wishes->level, -120.0, 0.0, "dBFS", error) &&
         check_range("drive", wishes->drive, PLANISH_RESPONSE_LOWEST_LEVEL,
                     PLANISH_RESPONSE_HIGHEST_LEVEL, "dBFS", error) &&
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

/* The controls' values as they are asked for: the defaults, the preset over them, then settings. */
static float *read_values(const PlanishPlugin *plugin, const Wishes *wishes,
                          const PlanishPreset *preset, PlanishError *error)
{
  const PlanishOptionTexts *settings = &wishes->settings;
  float *values = calloc((size_t)plugin->port_count + 1, sizeof *values);
  if (values == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    values[n] = plugin->ports[n].initial;
  }
  bool done = preset == NULL || planish_sheet_take_preset(plugin, preset, values, error);
  for (size_t n = 0; done && n < settings->count; ++n) {
    done = set_value(plugin, settings->list[n], values, error);
  }
  if (!done) {
    free(values);
    return NULL;
  }
  return values;
}

/* Where the preset works, if it says so and nothing else was asked for: what works on the side
 * alone does nothing to a signal that is the same on both. */
static void choose_channel(const Wishes *wishes, const PlanishPreset *preset,
                           PlanishProbeSetup *setup)
{
  PlanishProbeChannel channel;
  if (wishes->channel == NULL && planish_probe_channel(preset->heard_on, &channel)) {
    setup->channel = channel;
  }
}

static void warn(const PlanishResponse *response)
{
  for (int n = 0; n < PLANISH_RESPONSE_MEASURES; ++n) {
    const PlanishResponseTable *table = &response->tables[n];
    if (table->may_settle && !table->settled) {
      planish_options_warn("not settled within 10 to 20 s, so not steady: %s", table->key);
    }
  }
}

static bool show(const Wishes *wishes, const PlanishResponse *response, PlanishError *error)
{
  warn(response);
  if (wishes->json) {
    PlanishJson json = planish_json_on(stdout);
    planish_response_json(&json, response);
  } else if (wishes->csv) {
    planish_response_csv(stdout, response);
  }
  if (wishes->svg != NULL) {
    return planish_response_picture(response, wishes->svg, error);
  }
  if (!wishes->json && !wishes->csv) {
    planish_response_table_print(response);
  }
  return true;
}

static bool measure(const Wishes *wishes, const PlanishProbeSetup *setup, const PlanishNoise *noise,
                    unsigned measures, PlanishError *error)
{
  const PlanishResponseWishes asked = {measures, *noise, wishes->tone, wishes->drive};
  PlanishProgress progress = planish_progress_new();
  PlanishProbeSetup told = *setup;
  told.told = planish_progress_tell;
  told.told_user = &progress;
  PlanishResponse *response = planish_response_new(&told, &asked, error);
  planish_progress_end(&progress);
  const bool done = response != NULL && show(wishes, response, error);
  planish_response_free(response);
  return done;
}

static bool respond(PlanishHost *host, const Wishes *wishes, const PlanishProbeSetup *wanted,
                    const PlanishNoise *noise, unsigned measures, PlanishError *error)
{
  PlanishProbeSetup setup = *wanted;
  PlanishPreset *preset = NULL;
  if (wishes->preset != NULL) {
    preset = planish_preset_new(host, setup.plugin, wishes->preset, error);
    if (preset == NULL) {
      return false;
    }
    setup.preset = preset->label;
    choose_channel(wishes, preset, &setup);
  }
  float *values = read_values(setup.plugin, wishes, preset, error);
  setup.values = values;
  const bool done = values != NULL && measure(wishes, &setup, noise, measures, error);
  free(values);
  planish_preset_free(preset);
  return done;
}

bool planish_command_response(int argc, char **argv, PlanishError *error)
{
  Wishes wishes;
  const PlanishOption options[] = {
      {"measure", PLANISH_OPTION_TEXT, &wishes.measures},
      {"preset", PLANISH_OPTION_TEXT, &wishes.preset},
      {"set", PLANISH_OPTION_TEXTS, &wishes.settings},
      {"channel", PLANISH_OPTION_TEXT, &wishes.channel},
      {"bell", PLANISH_OPTION_TEXTS, &wishes.bells},
      {"level", PLANISH_OPTION_NUMBER, &wishes.level},
      {"tone", PLANISH_OPTION_NUMBER, &wishes.tone},
      {"drive", PLANISH_OPTION_NUMBER, &wishes.drive},
      {"rate", PLANISH_OPTION_NUMBER, &wishes.rate},
      {"json", PLANISH_OPTION_FLAG, &wishes.json},
      {"csv", PLANISH_OPTION_FLAG, &wishes.csv},
      {"svg", PLANISH_OPTION_TEXT, &wishes.svg},
      {"bundle", PLANISH_OPTION_TEXT, &wishes.bundle},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  if (argc - first != 1) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "one stage is looked at: give STAGE: see planish response --help");
  }
  if (wishes.json && wishes.csv) {
    return planish_fail(error, PLANISH_BAD_USE, "two forms: --json --csv: give one of them");
  }
  PlanishProbeSetup setup = {0};
  PlanishNoise noise;
  unsigned measures = 0;
  if (!read_measures(wishes.measures, &measures, error) || !check_wishes(&wishes, &setup, error) ||
      !read_noise(&wishes, &noise, error) ||
      (wishes.svg != NULL && !planish_place_check(wishes.svg, error))) {
    return false;
  }
  PlanishHost *host = planish_opening_host(wishes.bundle, error);
  setup.plugin = host == NULL ? NULL : planish_host_plugin(host, argv[first], error);
  const bool done = setup.plugin != NULL && respond(host, &wishes, &setup, &noise, measures, error);
  planish_host_free(host);
  return done;
}
