#include "presets-demo/mix/clean.h"

#include "presets-demo/mix/amplifier.h"
#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/room.h"
#include "presets-demo/mix/score.h"
#include "presets-demo/mix/strings.h"

#include <stdlib.h>
#include <string.h>

/* Which string is picked on which eighth of a bar; -1 none. */
typedef struct {
  int string[8];
  uint64_t seed;
  double pan;
} Take;

static const Take takes[] = {
    {{0, 2, 3, 4, 2, 3, 4, 3}, 311, -0.85},
    {{0, -1, 4, 3, 1, -1, 3, 2}, 312, 0.85},
};

static const PlanishDemoBand into_amplifier[] = {
    {PLANISH_DEMO_HIGH_PASS, 90.0, 0.7, 0.0},
    {PLANISH_DEMO_PEAKING, 2600.0, 0.7, 4.0},
};

static const PlanishDemoBand loudspeaker[] = {
    {PLANISH_DEMO_PEAKING, 350.0, 0.8, -3.0},
    {PLANISH_DEMO_PEAKING, 3600.0, 0.9, 3.0},
    {PLANISH_DEMO_LOW_PASS, 7000.0, 0.7, 0.0},
};

static void pick(double pitch, double step, double held, PlanishDemoRandom *random, double *line,
                 size_t frames)
{
  const double late = 0.008 * planish_demo_random_bell(random) * PLANISH_DEMO_RATE;
  const PlanishDemoPluck pluck = {
      .pitch = pitch + 0.03 * planish_demo_random_bell(random),
      .seconds = 5.0,
      .damping = 0.22,
      .pick = 0.2 + 0.05 * planish_demo_random_bell(random),
      .colour = 0.42,
      .force = 0.5 * (1.0 + 0.3 * planish_demo_random_bell(random)),
      .release = 0.4,
  };
  const double at = planish_demo_score_frame(step) + late;
  const size_t start = at < 0.0 ? 0 : (size_t)at;
  const double until = planish_demo_score_frame(step + held);
  if (start < frames) {
    planish_demo_pluck(&pluck, (size_t)(until - at), random, line + start, frames - start);
  }
}

static void play(const Take *take, double *line, PlanishDemoTrack *track)
{
  const PlanishDemoAmplifier amplifier = {into_amplifier, 2, 2.0, 0.0, 0.2, loudspeaker, 3};
  PlanishDemoRandom random = planish_demo_random(take->seed);
  memset(line, 0, track->frames * sizeof *line);
  for (size_t bar = 0; bar < PLANISH_DEMO_BARS; ++bar) {
    const double *chord = planish_demo_score_chord(bar);
    for (size_t i = 0; chord != NULL && i < 8; ++i) {
      if (take->string[i] >= 0) {
        const double step = (double)(bar * PLANISH_DEMO_STEPS + 2 * i);
        /* Strings ring until the hand moves to the next chord. */
        pick(chord[take->string[i]], step, 16.0 - 2.0 * (double)i, &random, line, track->frames);
      }
    }
  }
  planish_demo_amplify(&amplifier, line, track->frames);
  planish_demo_track_place(track, line, track->frames, 0, 1.15, take->pan);
}

bool planish_demo_clean_guitars(PlanishDemoTrack *track)
{
  static const PlanishDemoRoom spring = {2.2, 0.9, 0.02, 0.35, 200.0};
  PlanishDemoTrack clean = planish_demo_track_new(track->frames);
  double *line = malloc(track->frames * sizeof *line);
  bool done = clean.left != NULL && line != NULL;
  for (size_t i = 0; done && i < sizeof takes / sizeof takes[0]; ++i) {
    play(&takes[i], line, &clean);
  }
  done = done && planish_demo_room_add(&spring, &clean, 0.12, &clean);
  if (done) {
    planish_demo_track_add(track, &clean, 1.0);
  }
  free(line);
  planish_demo_track_free(&clean);
  return done;
}
