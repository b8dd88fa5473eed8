/* The players: each fills one stem of the song by the score. Levels are rough; the desk (song.c)
 * sets the balance. False where memory lacks. */
#ifndef PLANISH_DEMO_PLAYERS_H
#define PLANISH_DEMO_PLAYERS_H

#include "presets-demo/mix/track.h"

#include <stdbool.h>

/* Fills a silent track as long as the song. */
typedef bool PlanishDemoPlayer(PlanishDemoTrack *track);

PlanishDemoPlayer planish_demo_drums;
PlanishDemoPlayer planish_demo_bass;
PlanishDemoPlayer
    planish_demo_guitars; /* two distorted takes, a lead of octaves, two clean takes */
PlanishDemoPlayer planish_demo_voice;
PlanishDemoPlayer planish_demo_pad;

#endif
