/* The desk: the stems in balance and the mix of them. */
#ifndef PLANISH_DEMO_SONG_H
#define PLANISH_DEMO_SONG_H

#include "presets-demo/mix/track.h"

#include <stdbool.h>

enum { PLANISH_DEMO_STEMS = 5 };

typedef struct {
  PlanishDemoTrack stems[PLANISH_DEMO_STEMS]; /* they add up to the mix */
  PlanishDemoTrack mix;                       /* sample peak -6.02 dBFS, silent head and end */
} PlanishDemoSong;

/* Of a stem, as its file is named. */
const char *planish_demo_stem_name(size_t stem);

/* Plays the whole song, always the same. False where memory lacks. Give it back with
 * planish_demo_song_free, also then. */
bool planish_demo_song_play(PlanishDemoSong *song);
void planish_demo_song_free(PlanishDemoSong *song);

/* Further mixes of the same stems, for an album: some without some of the players, and the two
 * halves of one, which run on. */
enum { PLANISH_DEMO_FURTHER = 4 };
const char *planish_demo_further_name(size_t further);

/* One of them. planish_demo_track_free() gives it back; left is NULL where memory lacks. */
PlanishDemoTrack planish_demo_further(const PlanishDemoSong *song, size_t further);

#endif
