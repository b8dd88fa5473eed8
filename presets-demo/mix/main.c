#include "presets-demo/mix/song.h"
#include "presets-demo/mix/wave.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

enum { DONE = 0, BAD_USAGE = 2, NOT_WRITTEN = 4, LONGEST_PATH = 4096 };

static int complain(const char *path)
{
  fprintf(stderr, "demo-mix: cannot write %s: %s\n", path, strerror(errno));
  return NOT_WRITTEN;
}

static int write_stems(const PlanishDemoSong *song, const char *folder)
{
  for (size_t i = 0; i < PLANISH_DEMO_STEMS; ++i) {
    char path[LONGEST_PATH];
    const int length = snprintf(path, sizeof path, "%s/%s.wav", folder, planish_demo_stem_name(i));
    if (length < 0 || length >= LONGEST_PATH) {
      errno = ENAMETOOLONG;
      return complain(folder);
    }
    if (!planish_demo_wave_write(path, &song->stems[i])) {
      return complain(path);
    }
  }
  return DONE;
}

static int write_song(const PlanishDemoSong *song, const char *path, const char *stems)
{
  if (!planish_demo_wave_write(path, &song->mix)) {
    return complain(path);
  }
  return stems == NULL ? DONE : write_stems(song, stems);
}

int main(int argc, char **argv)
{
  const bool with_stems = argc == 4 && strcmp(argv[2], "--stems") == 0;
  if (argc < 2 || argv[1][0] == '-' || (argc != 2 && !with_stems)) {
    fprintf(stderr, "usage: demo-mix OUT.wav [--stems FOLDER]\n");
    return BAD_USAGE;
  }
  PlanishDemoSong song;
  int status = NOT_WRITTEN;
  if (planish_demo_song_play(&song)) {
    status = write_song(&song, argv[1], with_stems ? argv[3] : NULL);
  } else {
    fprintf(stderr, "demo-mix: not enough memory: free about 400 MB and try again\n");
  }
  planish_demo_song_free(&song);
  return status;
}
