/* A folder of its own for a test that writes files, and audio files in it. */
#ifndef PLANISH_TESTS_FILES_FIXTURE_H
#define PLANISH_TESTS_FILES_FIXTURE_H

#include <dirent.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char files_folder[256];

static inline int make_folder(void **state)
{
  (void)state;
  const char *root = getenv("TMPDIR");
  snprintf(files_folder, sizeof files_folder, "%s/planish-XXXXXX", root == NULL ? "/tmp" : root);
  return mkdtemp(files_folder) == NULL ? -1 : 0;
}

/* The full name of a file in the folder; 32 can be in use at once. */
static inline const char *in_folder(const char *name)
{
  static char paths[32][512];
  static int next;
  char *path = paths[next++ % 32];
  snprintf(path, sizeof paths[0], "%s/%s", files_folder, name);
  return path;
}

/* How many files stand in the folder, hidden ones too. */
static inline int count_files(void)
{
  DIR *folder = opendir(files_folder);
  int count = 0;
  for (const struct dirent *entry = readdir(folder); entry != NULL; entry = readdir(folder)) {
    count += strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0;
  }
  closedir(folder);
  return count;
}

static inline int empty_folder(void **state)
{
  (void)state;
  DIR *folder = opendir(files_folder);
  for (const struct dirent *entry = readdir(folder); entry != NULL; entry = readdir(folder)) {
    if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0) {
      remove(in_folder(entry->d_name));
    }
  }
  closedir(folder);
  return 0;
}

static inline int remove_folder(void **state)
{
  empty_folder(state);
  return rmdir(files_folder);
}

static inline const char *write_text(const char *name, const char *text)
{
  const char *path = in_folder(name);
  FILE *file = fopen(path, "w");
  if (file == NULL || fputs(text, file) < 0 || fclose(file) != 0) {
    abort();
  }
  return path;
}

static inline const char *write_audio(const char *name, int format, int rate, int channels,
                                      const float *samples, size_t frames)
{
  const char *path = in_folder(name);
  SF_INFO info = {.samplerate = rate, .channels = channels, .format = format};
  SNDFILE *file = sf_open(path, SFM_WRITE, &info);
  if (file == NULL || sf_writef_float(file, samples, (sf_count_t)frames) != (sf_count_t)frames) {
    abort();
  }
  sf_close(file);
  return path;
}

/* Reads a whole file; *frames is how many. free() gives it back. */
static inline float *read_audio(const char *path, size_t *frames, SF_INFO *info)
{
  *info = (SF_INFO){0};
  SNDFILE *file = sf_open(path, SFM_READ, info);
  if (file == NULL) {
    *frames = 0;
    return NULL;
  }
  float *samples = malloc((size_t)info->frames * (size_t)info->channels * sizeof *samples + 1);
  *frames = (size_t)sf_readf_float(file, samples, info->frames);
  sf_close(file);
  return samples;
}

/* Music-like noise: bursts that decay, stereo. free() gives it back. */
static inline float *make_music(size_t frames)
{
  float *samples = malloc(2 * frames * sizeof *samples);
  unsigned seed = 1;
  for (size_t n = 0; n < frames; ++n) {
    const double envelope = 0.4 * exp(-(double)(n % 12000) / 6000.0) + 0.05;
    const double tone = sin(0.0131 * (double)n) + 0.5 * sin(0.0557 * (double)n);
    seed = seed * 1664525U + 1013904223U;
    const double noise = (double)(seed >> 8) / 8388608.0 - 1.0;
    samples[2 * n] = (float)(envelope * (0.5 * tone + 0.2 * noise));
    samples[2 * n + 1] = (float)(envelope * (0.5 * tone - 0.2 * noise));
  }
  return samples;
}

#endif
