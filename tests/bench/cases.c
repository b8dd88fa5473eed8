#include "tests/bench/cases.h"

#include "harness/host/preset.h"
#include "harness/sheet/sheet_presets.h"
#include "harness/sheet/sheet_value.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BIQUAD             YARDSTICK_BIQUAD, 0, 0
#define FFT(length, pairs) YARDSTICK_FFT, pairs, length

#define EIGHT_BELLS                                                                                \
  "b1_type=peaking b2_type=peaking b3_type=peaking b4_type=peaking b5_type=peaking "               \
  "b6_type=peaking b7_type=peaking b8_type=peaking b1_gain=3 b2_gain=-3 b3_gain=2 b4_gain=-2 "     \
  "b5_gain=3 b6_gain=-3 b7_gain=2 b8_gain=-2"
#define FOUR_MOVE                                                                                  \
  " b1_move=-3 b2_move=3 b3_move=-3 b4_move=3 b1_threshold=-40 b2_threshold=-40 "                  \
  "b3_threshold=-40 b4_threshold=-40"
#define TWO_EQUALISERS                                                                             \
  "attack_gain=2 sustain_gain=-1 attack_low_gain=2 attack_bell1_gain=2 attack_bell2_gain=2 "       \
  "attack_high_gain=2 sustain_low_gain=-2 sustain_bell1_gain=-2 sustain_bell2_gain=-2 "            \
  "sustain_high_gain=-2"

/* By stage, in the order of a chain; the heaviest of each last. */
static const CostCase cases[] = {
    {"ms-eq", "eight bells stand", 0.9F, EIGHT_BELLS, BIQUAD, 10.0},
    {"ms-eq", "eight bells, four move", 0.9F, EIGHT_BELLS FOUR_MOVE, BIQUAD, 25.0},
    {"ms-eq", "linear phase, eight bells", 0.9F, EIGHT_BELLS " phase=linear", BIQUAD, 0.0},
    {"resonance", "linear phase", 0.9F, "phase=linear", FFT(4096, 2), 1.7},
    {"resonance", "minimum phase", 0.9F, "phase=minimum", FFT(4096, 3), 2.3},
    {"dynamics", "full band", 0.9F, "threshold=-24 amount_below=30", BIQUAD, 10.0},
    {"dynamics", "a band, relative", 0.9F,
     "threshold=-12 amount_below=30 detector=relative band_type=peaking detector_high_pass=100",
     BIQUAD, 0.0},
    {"attack-sustain-eq", "two equalisers", 0.9F, TWO_EQUALISERS, FFT(2048, 2), 4.0},
    {"transient-shaper", "full band", 0.9F, "attack_gain=3 sustain_gain=2", BIQUAD, 8.0},
    {"transient-shaper", "a band", 0.9F, "attack_gain=3 sustain_gain=2 band_type=low", BIQUAD, 0.0},
    {"stereo-depth", "saturation in three bands", 0.9F,
     "low_side_lift=2 middle_side_lift=2 high_side_lift=2 low_saturation=50 middle_saturation=50 "
     "high_saturation=50 middle_attack_pan=30 high_attack_pan=30",
     BIQUAD, 40.0},
    {"unmask", "at work", 0.9F, "amount=100", FFT(4096, 2), 1.5},
    {"limiter", "nothing near the ceiling", 0.05F, "", BIQUAD, 5.0},
    {"limiter", "at work", 0.9F, "input_gain=3", BIQUAD, 12.0},
    {"limiter", "at work, lifting", 0.9F, "input_gain=3 quiet_lift=3", BIQUAD, 0.0},
    {"clipper", "nothing over the threshold", 0.05F, "oversampling=8x", BIQUAD, 4.0},
    {"clipper", "8x, true peak held", 0.9F, "input_gain=6 ceiling=-3 oversampling=8x", BIQUAD,
     60.0},
    {"clipper", "8x, as oversampling alone", 0.9F,
     "input_gain=6 ceiling=-3 oversampling=8x hold_true_peak=false", YARDSTICK_SOXR, 0, 0, 0.0},
    {"clipper", "16x, true peak held", 0.9F, "input_gain=12 ceiling=-6 oversampling=16x", BIQUAD,
     0.0},
    {"meter", "all", 0.9F, "", YARDSTICK_EBUR128_TRUE_PEAK, 0, 0, 0.5},
};

unsigned cost_cases_of(const PlanishPlugin *plugin,
                       void (*see)(const PlanishPlugin *plugin, const CostCase *cost, void *user),
                       void *user)
{
  const char *name = planish_plugin_short_uri(plugin);
  const CostCase defaults = {name, "defaults", 0.9F, "", BIQUAD, 0.0};
  const CostCase neutral = {name, "neutral", 0.9F, "preset", BIQUAD, 0.0};
  unsigned count = 0;
  see(plugin, &neutral, user);
  see(plugin, &defaults, user);
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    if (strcmp(cases[n].stage, name) == 0) {
      see(plugin, &cases[n], user);
      ++count;
    }
  }
  if (count == 0) {
    (void)fprintf(stderr, "%s: no settings at work: add them to tests/bench/cases.c\n", name);
  }
  return count;
}

static void stop(const CostCase *cost, const PlanishError *error)
{
  (void)fprintf(stderr, "%s, %s: %s\n", cost->stage, cost->name, error->text);
  exit(1);
}

static void set_preset(PlanishHost *host, const PlanishPlugin *plugin, const CostCase *cost,
                       float *values)
{
  PlanishError error = {0};
  PlanishPreset *preset = planish_preset_new(host, plugin, "Neutral", &error);
  if (preset == NULL || !planish_sheet_take_preset(plugin, preset, values, &error)) {
    stop(cost, &error);
  }
  planish_preset_free(preset);
}

static void set_one(const PlanishPlugin *plugin, const CostCase *cost, char *setting, float *values)
{
  PlanishError error = {0};
  uint32_t port = 0;
  char *equals = strchr(setting, '=');
  if (equals == NULL) {
    abort();
  }
  *equals = '\0';
  if (!planish_sheet_symbol(plugin, setting, &port, &error) ||
      !planish_sheet_port_value(&plugin->ports[port], equals + 1, false, &values[port], &error)) {
    stop(cost, &error);
  }
}

PlanishInstance *cost_case_instance(PlanishHost *host, const PlanishPlugin *plugin,
                                    const CostCase *cost, double rate)
{
  float values[MOST_PORTS];
  char settings[1024];
  char *rest = NULL;
  PlanishError error = {0};
  PlanishInstance *stage = planish_instance_new(plugin, rate, &error);
  if (stage == NULL) {
    stop(cost, &error);
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    values[n] = plugin->ports[n].initial;
  }
  (void)snprintf(settings, sizeof settings, "%s", cost->settings);
  if (strcmp(settings, "preset") == 0) {
    set_preset(host, plugin, cost, values);
  } else {
    for (char *one = strtok_r(settings, " ", &rest); one != NULL;
         one = strtok_r(NULL, " ", &rest)) {
      set_one(plugin, cost, one, values);
    }
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    if (plugin->ports[n].kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      planish_instance_set_at(stage, n, values[n]);
    }
  }
  planish_instance_activate(stage);
  return stage;
}
