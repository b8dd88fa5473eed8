/* The mix of synthetic stems that stands beside the project, if it does: in the folder that
 * PLANISH_SHARED names, or in ../shared. Tests skip by name where it is absent. */
#ifndef PLANISH_TESTS_STEMS_H
#define PLANISH_TESTS_STEMS_H

#include <sndfile.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
  double *channel[2];
  size_t frames;
  double rate;
} Audio;

static inline void audio_free(Audio *audio)
{
  free(audio->channel[0]);
  free(audio->channel[1]);
  *audio = (Audio){0};
}

static inline Audio audio_copy(const Audio *from, size_t silence_after)
{
  Audio audio = {.frames = from->frames + silence_after, .rate = from->rate};
  for (int c = 0; c < 2; ++c) {
    audio.channel[c] = calloc(audio.frames + 1, sizeof(double));
    if (audio.channel[c] == NULL) {
      abort();
    }
    memcpy(audio.channel[c], from->channel[c], from->frames * sizeof(double));
  }
  return audio;
}

/* Adds a file (mono: to both channels) onto `audio`, which takes the first file's length and
 * rate. */
static inline bool audio_add(Audio *audio, const char *path)
{
  SF_INFO info = {0};
  SNDFILE *file = sf_open(path, SFM_READ, &info);
  if (file == NULL) {
    return false;
  }
  const size_t frames = (size_t)info.frames;
  const size_t channels = (size_t)info.channels;
  double *samples = malloc(frames * channels * sizeof(double));
  const bool whole = sf_readf_double(file, samples, info.frames) == info.frames;
  sf_close(file);
  if (audio->frames == 0) {
    audio->frames = frames;
    audio->rate = info.samplerate;
    audio->channel[0] = calloc(frames, sizeof(double));
    audio->channel[1] = calloc(frames, sizeof(double));
  }
  for (size_t n = 0; whole && n < frames && n < audio->frames; ++n) {
    audio->channel[0][n] += samples[n * channels];
    audio->channel[1][n] += samples[n * channels + channels - 1];
  }
  free(samples);
  return whole;
}

/* Path of something in the shared folder. */
static inline void shared_path(char *path, size_t size, const char *name)
{
  const char *shared = getenv("PLANISH_SHARED");
  snprintf(path, size, "%s/%s", shared ? shared : "../shared", name);
}

/* The mix of a seed with these guitars: "guitars", or "guitars-ringing". False: no stems here. */
static inline bool stems_read_with(Audio *mix, int seed, const char *guitars)
{
  const char *const parts[] = {"drums", "bass", guitars, "voice"};
  *mix = (Audio){0};
  for (size_t i = 0; i < sizeof parts / sizeof *parts; ++i) {
    char name[64];
    char path[1024];
    snprintf(name, sizeof name, "stems/%s-%d.flac", parts[i], seed);
    shared_path(path, sizeof path, name);
    if (!audio_add(mix, path)) {
      audio_free(mix);
      return false;
    }
  }
  return true;
}

static inline bool stems_read(Audio *mix, int seed)
{
  return stems_read_with(mix, seed, "guitars");
}

#endif
