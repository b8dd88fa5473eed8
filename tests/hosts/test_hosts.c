/* Every stage in other hosts: the samples are those of our own host. Hosts differ in blocks, in
 * features and in whether they run in place (lv2apply: one frame a run, no feature; ffmpeg: in
 * place); none of them lines up latency. A host that is not installed is skipped by name. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { RATE = 48000, FRAMES = 30011 };

static char folder[] = "/tmp/planish-hosts-XXXXXX";

static void path_of(char path[256], const char *name)
{
  snprintf(path, 256, "%s/%s", folder, name);
}

static void write_audio(const char *name, const Audio *audio)
{
  char path[256];
  path_of(path, name);
  SF_INFO info = {.samplerate = RATE, .channels = 2, .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
  SNDFILE *file = sf_open(path, SFM_WRITE, &info);
  assert_non_null(file);
  for (uint32_t n = 0; n < audio->frames; ++n) {
    const float frame[2] = {audio->channel[0][n], audio->channel[1][n]};
    assert_int_equal(sf_writef_float(file, frame, 1), 1);
  }
  sf_close(file);
}

static Audio read_audio(const char *name)
{
  char path[256];
  path_of(path, name);
  SF_INFO info = {0};
  SNDFILE *file = sf_open(path, SFM_READ, &info);
  assert_non_null(file);
  assert_int_equal(info.channels, 2);
  Audio audio = audio_new((uint32_t)info.frames);
  for (uint32_t n = 0; n < audio.frames; ++n) {
    float frame[2];
    assert_int_equal(sf_readf_float(file, frame, 1), 1);
    audio.channel[0][n] = frame[0];
    audio.channel[1][n] = frame[1];
  }
  sf_close(file);
  return audio;
}

static bool installed(const char *program)
{
  char command[128];
  snprintf(command, sizeof command, "command -v %s >/dev/null 2>&1", program);
  const bool there = system(command) == 0;
  if (!there) {
    printf("skipped: %s is not installed\n", program);
  }
  return there;
}

typedef struct {
  const char *symbol;
  float value;
} Setting;

/* What makes the stage work hard enough to tell hosts apart: one that waits for seconds must not
 * wait. */
static Setting at_work(const PlanishPlugin *plugin)
{
  static const Setting settings[] = {{"note_protection", 0.0f}, {"input_gain", 5.25f}};
  for (size_t i = 0; i < sizeof settings / sizeof *settings; ++i) {
    if (has(plugin, settings[i].symbol)) {
      return settings[i];
    }
  }
  return (Setting){"output_gain", 5.25f};
}

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

static int remove_folder(void **state)
{
  (void)state;
  char command[128];
  snprintf(command, sizeof command, "rm -r %s", folder);
  return system(command);
}

int main(void)
{
  /* Hosts search the folder that holds the bundle. */
  char path[1024];
  const char *bundle = getenv("PLANISH_BUNDLE");
  snprintf(path, sizeof path, "%s/..", bundle == NULL ? "." : bundle);
  setenv("LV2_PATH", path, 1);
  if (mkdtemp(folder) == NULL) {
    return 1;
  }
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_renderer_agrees),
      cmocka_unit_test(lv2apply_agrees),
      cmocka_unit_test(ffmpeg_agrees),
  };
  return cmocka_run_group_tests(tests, NULL, remove_folder);
}
