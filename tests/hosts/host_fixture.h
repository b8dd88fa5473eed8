/* Running a stage in another host by its command line, on a file in a folder of its own, and what
 * ours makes of the same. */
#ifndef PLANISH_TESTS_HOST_FIXTURE_H
#define PLANISH_TESTS_HOST_FIXTURE_H

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

static inline void path_of(char path[256], const char *name)
{
  snprintf(path, 256, "%s/%s", folder, name);
}

static inline void write_audio(const char *name, const Audio *audio)
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

static inline Audio read_audio(const char *name)
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

static inline bool installed(const char *program)
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
static inline Setting at_work(const PlanishPlugin *plugin)
{
  static const Setting settings[] = {{"note_protection", 0.0f}, {"input_gain", 5.25f}};
  for (size_t i = 0; i < sizeof settings / sizeof *settings; ++i) {
    if (has(plugin, settings[i].symbol)) {
      return settings[i];
    }
  }
  return (Setting){"output_gain", 5.25f};
}

/* Before anything else: hosts search the folder that holds the bundle. False: no folder. */
static inline bool start_hosts(void)
{
  char path[1024];
  const char *bundle = getenv("PLANISH_BUNDLE");
  snprintf(path, sizeof path, "%s/..", bundle == NULL ? "." : bundle);
  setenv("LV2_PATH", path, 1);
  return mkdtemp(folder) != NULL;
}

static inline int remove_folder(void **state)
{
  (void)state;
  char command[128];
  snprintf(command, sizeof command, "rm -r %s", folder);
  return system(command);
}

#endif
