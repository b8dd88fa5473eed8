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

/* FOLDER/NAME.wav */
static int write_track(const PlanishDemoTrack *track, const char *folder, const char *name)
{
  char path[LONGEST_PATH];
  const int length = snprintf(path, sizeof path, "%s/%s.wav", folder, name);
  if (length < 0 || length >= LONGEST_PATH) {
    errno = ENAMETOOLONG;
    return complain(folder);
  }
  return planish_demo_wave_write(path, track) ? DONE : complain(path);
}

static int write_stems(const PlanishDemoSong *song, const char *folder)
{
  int status = DONE;
  for (size_t i = 0; status == DONE && i < PLANISH_DEMO_STEMS; ++i) {
    status = write_track(&song->stems[i], folder, planish_demo_stem_name(i));
  }
  return status;
}

static int complain_of_memory(void)
{
  fprintf(stderr, "demo-mix: not enough memory: free about 400 MB and try again\n");
  return NOT_WRITTEN;
}

/* The mixes of an album. */
static int write_songs(const PlanishDemoSong *song, const char *folder)
{
  int status = DONE;
  for (size_t i = 0; status == DONE && i < PLANISH_DEMO_FURTHER; ++i) {
    PlanishDemoTrack track = planish_demo_further(song, i);
    status = track.left == NULL ? complain_of_memory()
                                : write_track(&track, folder, planish_demo_further_name(i));
    planish_demo_track_free(&track);
  }
  return status;
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
  const bool songs = argc == 3 && strcmp(argv[1], "--songs") == 0;
  const bool with_stems = argc == 4 && strcmp(argv[2], "--stems") == 0;
  if (argc < 2 || (!songs && (argv[1][0] == '-' || (argc != 2 && !with_stems)))) {
    fprintf(stderr, "usage: demo-mix OUT.wav [--stems FOLDER]\n"
                    "       demo-mix --songs FOLDER\n");
    return BAD_USAGE;
  }
  PlanishDemoSong song;
  int status = NOT_WRITTEN;
  if (!planish_demo_song_play(&song)) {
    status = complain_of_memory();
  } else if (songs) {
    status = write_songs(&song, argv[2]);
  } else {
    status = write_song(&song, argv[1], with_stems ? argv[3] : NULL);
  }
  planish_demo_song_free(&song);
  return status;
}
