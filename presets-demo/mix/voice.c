#include "presets-demo/mix/players.h"

#include "presets-demo/mix/leveller.h"
#include "presets-demo/mix/room.h"
#include "presets-demo/mix/singer.h"

#include <stdlib.h>
#include <string.h>

typedef struct {
  PlanishDemoTake take;
  double gain;
  double pan;
} Part;

/* The lead in the middle; doubles either side in the choruses; a third above in the last one. */
static const Part parts[] = {
    {{401, 0.0, 0.0, 0, 0, 99}, 1.0, 0.0},        {{402, 0.014, 0.06, 0, 12, 20}, 0.26, -0.75},
    {{403, 0.021, -0.07, 0, 12, 20}, 0.26, 0.75}, {{404, 0.012, 0.07, 1, 24, 32}, 0.34, -0.7},
    {{405, 0.019, -0.06, 1, 24, 32}, 0.34, 0.7},  {{406, 0.016, 0.04, 0, 24, 34}, 0.25, 0.35},
};

static const PlanishDemoBand desk[] = {
    {PLANISH_DEMO_HIGH_PASS, 95.0, 0.7, 0.0},
    {PLANISH_DEMO_PEAKING, 550.0, 0.7, -3.0},
    {PLANISH_DEMO_HIGH_SHELF, 1700.0, 0.7, 8.0},
    {PLANISH_DEMO_HIGH_SHELF, 4500.0, 0.7, 4.0},
};

bool planish_demo_voice(PlanishDemoTrack *track)
{
  static const PlanishDemoRoom plate = {1.7, 0.7, 0.035, 0.3, 250.0};
  double *line = malloc(track->frames * sizeof *line);
  if (line == NULL) {
    return false;
  }
  for (size_t i = 0; i < sizeof parts / sizeof parts[0]; ++i) {
    memset(line, 0, track->frames * sizeof *line);
    planish_demo_sing(&parts[i].take, line, track->frames);
    planish_demo_level_out(line, track->frames, 0.5, 0.2);
    planish_demo_track_place(track, line, track->frames, 0, parts[i].gain, parts[i].pan);
  }
  free(line);
  planish_demo_track_filter(track, desk, sizeof desk / sizeof desk[0]);
  return planish_demo_room_add(&plate, track, 0.06, track);
}
