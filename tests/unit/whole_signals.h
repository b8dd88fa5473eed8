/* A stage run over whole signals, lined up with what went in. */
#ifndef PLANISH_TESTS_WHOLE_SIGNALS_H
#define PLANISH_TESTS_WHOLE_SIGNALS_H

#include "tests/unit/stage_driver.h"
#include "tests/unit/stems.h"

#include <stdio.h>

typedef struct {
  uint32_t port;
  float value;
} Setting;

/* The result, lined up with the input; what the stage's latency cuts off at the end comes too. */
static inline Audio treated(const Audio *in, const Setting *settings, size_t count)
{
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, in->rate);
  for (size_t i = 0; i < count; ++i) {
    driver.values[settings[i].port] = settings[i].value;
  }
  const size_t late = planish_stage.latency(in->rate, driver.values);
  Audio out = audio_copy(in, late);
  const double *const from[2] = {out.channel[0], out.channel[1]};
  stage_driver_run(&driver, from, out.channel, 2, out.frames);
  stage_driver_free(&driver);
  out.frames = in->frames;
  for (int c = 0; c < 2; ++c) {
    memmove(out.channel[c], out.channel[c] + late, out.frames * sizeof(double));
  }
  return out;
}

static inline bool music_read(Audio *audio, const char *name)
{
  char within[64];
  char path[1024];
  *audio = (Audio){0};
  snprintf(within, sizeof within, "music/%s.flac", name);
  shared_path(path, sizeof path, within);
  return audio_add(audio, path);
}

#endif
