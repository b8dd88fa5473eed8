/* Every stage in other hosts: the samples are those of our own host. Hosts differ in blocks, in
 * features and in whether they run in place (lv2apply: one frame a run, no feature; ffmpeg: in
 * place); none of them lines up latency. A host that is not installed is skipped by name. */
#include "tests/hosts/host_fixture.h"

static bool is_delayed_input(const Audio *out, const Audio *in, uint32_t latency)
{
  return memcmp(out->channel[0] + latency, in->channel[0], (FRAMES - latency) * sizeof(float)) == 0;
}

/* Puts the music that hosts get into a file; returns what the stage makes of it in ours. */
static Audio expected_of(const PlanishPlugin *plugin, uint32_t *latency)
{
  const Setting setting = at_work(plugin);
  Audio in = audio_music(FRAMES, 91, 0.8f);
  write_audio("in.wav", &in);
  Take take = take_of(plugin, RATE);
  take_move(&take, 0, setting.symbol, setting.value);
  Audio expected = take_run(&take, &in, latency);
  assert_false(is_delayed_input(&expected, &in, *latency));
  audio_free(&in);
  return expected;
}

static void check_host(const PlanishPlugin *plugin, const char *command)
{
  uint32_t latency = 0;
  Audio expected = expected_of(plugin, &latency);
  if (system(command) != 0) {
    printf("  failed: %s\n", command);
    fail();
  }
  Audio out = read_audio("out.wav");
  assert_int_equal(out.frames, expected.frames);
  double largest = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < FRAMES; ++n) {
      largest = fmax(largest, fabs((double)out.channel[c][n] - (double)expected.channel[c][n]));
    }
  }
  printf("  largest difference %g\n", largest);
  assert_true(largest == 0.0);
  audio_free(&out);
  audio_free(&expected);
}

static void in_lv2apply(const PlanishPlugin *plugin)
{
  const Setting setting = at_work(plugin);
  char command[1024];
  snprintf(command, sizeof command, "lv2apply -i %s/in.wav -o %s/out.wav -c %s %.2f %s", folder,
           folder, setting.symbol, (double)setting.value, plugin->uri);
  check_host(plugin, command);
}

static void in_ffmpeg(const PlanishPlugin *plugin)
{
  char uri[256] = "";
  for (const char *c = plugin->uri; *c != '\0'; ++c) {
    strcat(uri, *c == ':' ? "\\\\:" : (char[]){*c, '\0'});
  }
  const Setting setting = at_work(plugin);
  char command[1024];
  snprintf(command, sizeof command,
           "ffmpeg -nostdin -v warning -y -i %s/in.wav -af 'lv2=p=%s:c=%s=%.2f' -c:a pcm_f32le "
           "%s/out.wav 2>%s/log; ! grep -q 'Unknown option' %s/log",
           folder, uri, setting.symbol, (double)setting.value, folder, folder, folder);
  check_host(plugin, command);
}

/* Our own renderer, by a sheet of one stage and without a pre-roll: the same samples, with the
 * latency taken out. */
static void in_renderer(const PlanishPlugin *plugin)
{
  const Setting setting = at_work(plugin);
  uint32_t latency = 0;
  Audio expected = expected_of(plugin, &latency);
  char path[256];
  path_of(path, "sheet.yaml");
  FILE *sheet = fopen(path, "w");
  assert_non_null(sheet);
  fprintf(sheet, "planish: 1\npreroll: 0\nstages:\n  - {stage: '%s', name: one, %s: %.2f}\n",
          plugin->uri, setting.symbol, (double)setting.value);
  fclose(sheet);
  char command[1024];
  snprintf(command, sizeof command, "%s render --float %s %s/in.wav %s/out.wav >%s/log",
           getenv("PLANISH_PROGRAM"), path, folder, folder, folder);
  assert_int_equal(system(command), 0);
  Audio out = read_audio("out.wav");
  assert_int_equal(out.frames, expected.frames);
  for (int c = 0; c < 2; ++c) {
    assert_memory_equal(out.channel[c], expected.channel[c] + latency,
                        (FRAMES - latency) * sizeof(float));
  }
  audio_free(&out);
  audio_free(&expected);
}

static void the_renderer_agrees(void **state)
{
  (void)state;
  for_each_stage(in_renderer);
}

static void lv2apply_agrees(void **state)
{
  (void)state;
  if (!installed("lv2apply")) {
    skip();
  }
  for_each_stage(in_lv2apply);
}

static void ffmpeg_agrees(void **state)
{
  (void)state;
  if (!installed("ffmpeg")) {
    skip();
  }
  for_each_stage(in_ffmpeg);
}

int main(void)
{
  if (!start_hosts()) {
    return 1;
  }
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_renderer_agrees),
      cmocka_unit_test(lv2apply_agrees),
      cmocka_unit_test(ffmpeg_agrees),
  };
  return cmocka_run_group_tests(tests, NULL, remove_folder);
}
