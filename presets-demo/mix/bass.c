#include "presets-demo/mix/players.h"

#include "presets-demo/mix/amplifier.h"
#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/leveller.h"
#include "presets-demo/mix/score.h"
#include "presets-demo/mix/strings.h"

#include <stdlib.h>
#include <string.h>

#define LOWEST_E 28.0

static void play(const PlanishDemoNote *note, PlanishDemoRandom *random, double *line,
                 size_t frames)
{
  const bool muted = note->letter >= 'a';
  const size_t bar = note->step / PLANISH_DEMO_STEPS;
  const bool soft = planish_demo_score_section(bar) == PLANISH_DEMO_QUIET;
  const double late = 0.004 * planish_demo_random_bell(random) * PLANISH_DEMO_RATE;
  const double at = planish_demo_score_frame((double)note->step) + late;
  const double until = planish_demo_score_frame((double)(note->step + note->steps));
  const PlanishDemoPluck pluck = {
      .pitch = LOWEST_E + (double)planish_demo_score_degree(note->letter) +
               0.03 * planish_demo_random_bell(random),
      .seconds = muted ? 0.7 : 7.0,
      .damping = muted ? 0.45 : 0.25,
      .pick = 0.14 + 0.03 * planish_demo_random_bell(random),
      .colour = soft ? 0.10 : 0.32,
      .force = (soft ? 0.35 : 1.0) * (1.0 + 0.15 * planish_demo_random_bell(random)),
      .release = 0.10,
  };
  const size_t start = (size_t)at;
  if (start < frames) {
    planish_demo_pluck(&pluck, (size_t)(0.94 * (until - at)), random, line + start, frames - start);
  }
}

static const PlanishDemoBand direct[] = {
    {PLANISH_DEMO_HIGH_PASS, 32.0, 0.7, 0.0},
    {PLANISH_DEMO_PEAKING, 52.0, 0.7, 6.0},
    {PLANISH_DEMO_LOW_PASS, 420.0, 0.6, 0.0},
};

static const PlanishDemoBand into_amplifier[] = {
    {PLANISH_DEMO_HIGH_PASS, 160.0, 0.7, 0.0},
    {PLANISH_DEMO_PEAKING, 900.0, 0.8, 5.0},
};

static const PlanishDemoBand loudspeaker[] = {
    {PLANISH_DEMO_HIGH_PASS, 180.0, 0.7, 0.0},
    {PLANISH_DEMO_PEAKING, 750.0, 1.0, 2.0},
    {PLANISH_DEMO_PEAKING, 2300.0, 1.5, 4.0},
    {PLANISH_DEMO_LOW_PASS, 4200.0, 0.7, 0.0},
};

/* Two microphones before the loudspeaker do not quite agree: a little of the low end lands on the
 * sides, as it does in mixes that nobody has tidied yet. */
static void spread_out(PlanishDemoTrack *track, const double *line)
{
  PlanishDemoFilter left = planish_demo_filter(PLANISH_DEMO_ALL_PASS, 60.0, 0.5, 0.0);
  PlanishDemoFilter right = planish_demo_filter(PLANISH_DEMO_ALL_PASS, 84.0, 0.5, 0.0);
  for (size_t n = 0; n < track->frames; ++n) {
    track->left[n] += planish_demo_filter_process(&left, line[n]);
    track->right[n] += planish_demo_filter_process(&right, line[n]);
  }
}

bool planish_demo_bass(PlanishDemoTrack *track)
{
  const PlanishDemoAmplifier amplifier = {into_amplifier, 2, 14.0, 6.0, 0.3, loudspeaker, 4};
  const size_t frames = track->frames;
  double *line = calloc(frames, sizeof *line);
  double *driven = malloc(frames * sizeof *driven);
  if (line == NULL || driven == NULL) {
    free(line);
    free(driven);
    return false;
  }
  PlanishDemoRandom random = planish_demo_random(200);
  PlanishDemoNote note;
  for (size_t step = 0; planish_demo_score_next(PLANISH_DEMO_BASS, &step, &note);) {
    play(&note, &random, line, frames);
  }
  planish_demo_level_out(line, frames, 0.25, 0.12);
  memcpy(driven, line, frames * sizeof *driven);
  planish_demo_filter_all(direct, sizeof direct / sizeof direct[0], line, frames);
  planish_demo_amplify(&amplifier, driven, frames);
  for (size_t n = 0; n < frames; ++n) {
    line[n] += 0.026 * driven[n];
  }
  spread_out(track, line);
  free(line);
  free(driven);
  return true;
}
