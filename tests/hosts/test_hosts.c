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

/* The control that makes the stage work hard enough to tell hosts apart. */
static const char *working_control(const PlanishPlugin *plugin)
{
  return has(plugin, "input_gain") ? "input_gain" : "output_gain";
}

static void check_host(const PlanishPlugin *plugin, const char *command)
{
  Audio in = audio_music(FRAMES, 91, 0.8f);
  write_audio("in.wav", &in);
  Take take = take_of(plugin, RATE);
  take_move(&take, 0, working_control(plugin), 5.25f);
  Audio expected = take_run(&take, &in, NULL);
  if (system(command) != 0) {
    printf("  failed: %s\n", command);
    fail();
  }
  Audio out = read_audio("out.wav");
  assert_int_equal(out.frames, in.frames);
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
  audio_free(&in);
}

static void in_lv2apply(const PlanishPlugin *plugin)
{
  char command[1024];
  snprintf(command, sizeof command, "lv2apply -i %s/in.wav -o %s/out.wav -c %s 5.25 %s", folder,
           folder, working_control(plugin), plugin->uri);
  check_host(plugin, command);
}

static void in_ffmpeg(const PlanishPlugin *plugin)
{
  char uri[256] = "";
  for (const char *c = plugin->uri; *c != '\0'; ++c) {
    strcat(uri, *c == ':' ? "\\\\:" : (char[]){*c, '\0'});
  }
  char command[1024];
  snprintf(command, sizeof command,
           "ffmpeg -nostdin -v warning -y -i %s/in.wav -af 'lv2=p=%s:c=%s=5.25' -c:a pcm_f32le "
           "%s/out.wav 2>%s/log; ! grep -q 'Unknown option' %s/log",
           folder, uri, working_control(plugin), folder, folder, folder);
  check_host(plugin, command);
}

/* Our own renderer, by a sheet of one stage and without a pre-roll: the same samples, with the
 * latency taken out. */
static void in_renderer(const PlanishPlugin *plugin)
{
  Audio in = audio_music(FRAMES, 91, 0.8f);
  write_audio("in.wav", &in);
  Take take = take_of(plugin, RATE);
  take_move(&take, 0, working_control(plugin), 5.25f);
  uint32_t latency = 0;
  Audio expected = take_run(&take, &in, &latency);
  char path[256];
  path_of(path, "sheet.yaml");
  FILE *sheet = fopen(path, "w");
  assert_non_null(sheet);
  fprintf(sheet, "planish: 1\npreroll: 0\nstages:\n  - {stage: '%s', name: one, %s: 5.25}\n",
          plugin->uri, working_control(plugin));
  fclose(sheet);
  char command[1024];
  snprintf(command, sizeof command, "%s render --float %s %s/in.wav %s/out.wav >%s/log",
           getenv("PLANISH_PROGRAM"), path, folder, folder, folder);
  assert_int_equal(system(command), 0);
  Audio out = read_audio("out.wav");
  assert_int_equal(out.frames, in.frames);
  for (int c = 0; c < 2; ++c) {
    assert_memory_equal(out.channel[c], expected.channel[c] + latency,
                        (FRAMES - latency) * sizeof(float));
  }
  audio_free(&out);
  audio_free(&expected);
  audio_free(&in);
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
