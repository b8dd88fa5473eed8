/* More hosts that work on files, on every stage and, where the host loads presets, on every preset:
 * the samples are those of our own host. They clip what they write at full scale. A host that is
 * not installed is skipped by name. */
#include "harness/host/preset.h"
#include "harness/host/preset_list.h"
#include "tests/hosts/host_fixture.h"

static PlanishHost *host;
static Audio in;

static float clipped(float x)
{
  return x > 1.0F ? 1.0F : (x < -1.0F ? -1.0F : x);
}

/* What the command leaves in out.wav against a take of ours. */
static void check(const Take *take, const char *command)
{
  if (system(command) != 0) {
    printf("  failed: %s\n", command);
    fail();
  }
  Audio out = read_audio("out.wav");
  Audio expected = take_run(take, &in, NULL);
  assert_true(out.frames >= FRAMES);
  double largest = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < FRAMES; ++n) {
      const float wanted = clipped(expected.channel[c][n]);
      largest = fmax(largest, fabs((double)clipped(out.channel[c][n]) - (double)wanted));
    }
  }
  if (largest > 0.0) {
    printf("  %g apart: %s\n", largest, command);
  }
  assert_true(largest == 0.0);
  audio_free(&expected);
  audio_free(&out);
}

static Take at_work_take(const PlanishPlugin *plugin)
{
  const Setting setting = at_work(plugin);
  Take take = take_of(plugin, RATE);
  take_move(&take, 0, setting.symbol, setting.value);
  return take;
}

static void in_lv2proc(const PlanishPlugin *plugin)
{
  const Setting setting = at_work(plugin);
  const Take take = at_work_take(plugin);
  char command[1024];
  snprintf(command, sizeof command,
           "lv2proc -n 37 -i %s/in.wav -o %s/out.wav -c %s:%.2f %s >%s/log 2>&1", folder, folder,
           setting.symbol, (double)setting.value, plugin->uri, folder);
  check(&take, command);
}

/* Values by position among all controls, outputs too; one left out would be 0. */
static void in_ecasound(const PlanishPlugin *plugin)
{
  const Setting setting = at_work(plugin);
  const Take take = at_work_take(plugin);
  char values[2048] = "";
  for (uint32_t i = 0; i < plugin->port_count; ++i) {
    const PlanishPluginPort *port = &plugin->ports[i];
    const bool input = port->kind == PLANISH_PLUGIN_CONTROL_INPUT;
    const bool set = strcmp(port->symbol, setting.symbol) == 0;
    const float value = set ? setting.value : (input ? port->initial : 0.0F);
    if (input || port->kind == PLANISH_PLUGIN_CONTROL_OUTPUT) {
      snprintf(values + strlen(values), sizeof values - strlen(values), ",%.9g", (double)value);
    }
  }
  char command[4096];
  snprintf(command, sizeof command,
           "rm -f %s/out.wav; ecasound -q -b:256 -f:f32_le,2,48000 -i %s/in.wav -o %s/out.wav "
           "-elv2:%s%s >%s/log 2>&1",
           folder, folder, folder, plugin->uri, values, folder);
  check(&take, command);
}

static Take preset_take(const PlanishPlugin *plugin, const char *uri)
{
  PlanishError error = {0};
  PlanishPreset *preset = planish_preset_new(host, plugin, uri, &error);
  assert_non_null(preset);
  Take take = take_of(plugin, RATE);
  for (uint32_t n = 0; n < preset->count; ++n) {
    take_move(&take, 0, preset->values[n].symbol, (float)preset->values[n].value);
  }
  planish_preset_free(preset);
  return take;
}

static void presets_in_lv2file(const PlanishPlugin *plugin)
{
  PlanishError error = {0};
  PlanishPresetList *presets = planish_preset_list_new(host, plugin, &error);
  assert_non_null(presets);
  for (uint32_t n = 0; n < presets->count; ++n) {
    const Take take = preset_take(plugin, presets->entries[n].uri);
    char command[1024];
    snprintf(command, sizeof command,
             "lv2file -b 512 -i %s/in.wav -o %s/out.wav -P '%s' %s >%s/log 2>&1", folder, folder,
             presets->entries[n].label, plugin->uri, folder);
    check(&take, command);
  }
  printf("  %u presets: the same samples\n", presets->count);
  planish_preset_list_free(presets);
}

static void lv2proc_agrees(void **state)
{
  (void)state;
  if (!installed("lv2proc")) {
    skip();
  }
  for_each_stage(in_lv2proc);
}

static void ecasound_agrees(void **state)
{
  (void)state;
  if (!installed("ecasound")) {
    skip();
  }
  for_each_stage(in_ecasound);
}

static void lv2file_agrees_on_every_preset(void **state)
{
  (void)state;
  if (!installed("lv2file")) {
    skip();
  }
  for_each_stage(presets_in_lv2file);
}

int main(void)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  if (host == NULL || !start_hosts()) {
    return 1;
  }
  in = audio_music(FRAMES, 91, 0.8F);
  write_audio("in.wav", &in);
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(lv2proc_agrees),
      cmocka_unit_test(ecasound_agrees),
      cmocka_unit_test(lv2file_agrees_on_every_preset),
  };
  const int failed = cmocka_run_group_tests(tests, NULL, remove_folder);
  audio_free(&in);
  planish_host_free(host);
  return failed;
}
