/* Signals and files for tests of the measurement. */
#ifndef PLANISH_TESTS_AUDIO_FIXTURE_H
#define PLANISH_TESTS_AUDIO_FIXTURE_H

#include "common/dsp/maths.h"

#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>

typedef struct {
  float *samples; /* interleaved */
  size_t frames;
  uint32_t channels;
  double rate;
} Audio;

static inline Audio audio_of(double rate, uint32_t channels, size_t frames)
{
  Audio audio = {calloc(frames * channels + 1, sizeof(float)), frames, channels, rate};
  if (audio.samples == NULL) {
    abort();
  }
  return audio;
}

/* Even noise within -1..1, the same for the same seed. */
static inline double noise(uint32_t *seed)
{
  *seed = *seed * 1664525U + 1013904223U;
  return (double)(*seed >> 8) / 8388608.0 - 1.0;
}

/* Rises within `fade` frames from the start, falls within as many before the end. */
static inline double fade_at(size_t n, size_t frames, size_t fade)
{
  const size_t edge = n < frames - 1 - n ? n : frames - 1 - n;
  return planish_smoothstep((double)edge / (double)fade);
}

/* Real music beside the project: PLANISH_SHARED, else ../shared, from the project's root. No
 * samples where it is absent. */
static inline Audio shared_music(const char *name)
{
  const char *shared = getenv("PLANISH_SHARED");
  char path[1024];
  snprintf(path, sizeof path, "%s/music/%s", shared == NULL ? "../shared" : shared, name);
  SF_INFO info = {0};
  SNDFILE *file = sf_open(path, SFM_READ, &info);
  if (file == NULL) {
    return (Audio){NULL, 0, 0, 0.0};
  }
  Audio audio = audio_of(info.samplerate, (uint32_t)info.channels, (size_t)info.frames);
  audio.frames = (size_t)sf_readf_float(file, audio.samples, info.frames);
  sf_close(file);
  return audio;
}

static const char *const shared_music_names[] = {"guitars-dense.flac", "guitars-dynamic.flac",
                                                 "lopsided.flac", "quiet.flac"};

#endif
