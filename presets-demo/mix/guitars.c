#include "presets-demo/mix/players.h"

#include "presets-demo/mix/amplifier.h"
#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/clean.h"
#include "presets-demo/mix/score.h"
#include "presets-demo/mix/strings.h"

#include <stdlib.h>
#include <string.h>

#define LOW_E  40.0
#define LEAD_E 64.0

/* One guitarist's take: another hand, another loudspeaker. */
typedef struct {
  PlanishDemoRow row;
  uint64_t seed;
  double pan;
  double gain;
  PlanishDemoAmplifier amplifier;
} Take;

static const PlanishDemoBand tight[] = {
    {PLANISH_DEMO_HIGH_PASS, 85.0, 0.7, 0.0},
    {PLANISH_DEMO_PEAKING, 850.0, 0.6, 2.0},
    {PLANISH_DEMO_LOW_PASS, 7500.0, 0.7, 0.0},
};

static const PlanishDemoBand left_speaker[] = {
    {PLANISH_DEMO_HIGH_PASS, 70.0, 0.8, 0.0},  {PLANISH_DEMO_LOW_SHELF, 260.0, 0.7, 13.0},
    {PLANISH_DEMO_PEAKING, 118.0, 1.4, 2.5},   {PLANISH_DEMO_PEAKING, 900.0, 0.7, -7.0},
    {PLANISH_DEMO_PEAKING, 1350.0, 2.0, 1.5},  {PLANISH_DEMO_PEAKING, 2500.0, 1.2, 1.0},
    {PLANISH_DEMO_PEAKING, 4100.0, 2.0, 3.5},  {PLANISH_DEMO_LOW_PASS, 5800.0, 1.0, 0.0},
    {PLANISH_DEMO_LOW_PASS, 8800.0, 0.6, 0.0},
};

static const PlanishDemoBand right_speaker[] = {
    {PLANISH_DEMO_HIGH_PASS, 75.0, 0.8, 0.0},  {PLANISH_DEMO_LOW_SHELF, 280.0, 0.7, 12.5},
    {PLANISH_DEMO_PEAKING, 132.0, 1.3, 2.0},   {PLANISH_DEMO_PEAKING, 1000.0, 0.7, -7.0},
    {PLANISH_DEMO_PEAKING, 1700.0, 2.0, 2.0},  {PLANISH_DEMO_PEAKING, 2200.0, 1.3, 0.5},
    {PLANISH_DEMO_PEAKING, 3700.0, 1.8, 4.0},  {PLANISH_DEMO_LOW_PASS, 5400.0, 1.0, 0.0},
    {PLANISH_DEMO_LOW_PASS, 9200.0, 0.6, 0.0},
};

#define BANDS(list) (list), sizeof(list) / sizeof(list)[0]

static const Take takes[] = {
    {PLANISH_DEMO_GUITAR, 301, -1.0, 1.0, {BANDS(tight), 20.0, 8.0, 0.15, BANDS(left_speaker)}},
    {PLANISH_DEMO_GUITAR, 302, 1.0, 1.02, {BANDS(tight), 21.0, 7.0, 0.25, BANDS(right_speaker)}},
    {PLANISH_DEMO_LEAD, 303, -0.55, 0.42, {BANDS(tight), 18.0, 7.0, 0.1, BANDS(right_speaker)}},
    {PLANISH_DEMO_LEAD, 304, 0.55, 0.42, {BANDS(tight), 18.0, 7.0, 0.2, BANDS(left_speaker)}},
};

/* What the left hand holds, in semitones above the root: root, fifth, octave; octaves for a lead.
 */
static const double power_chord[] = {0.0, 7.0, 12.0};
static const double octaves[] = {0.0, 12.0};

static void stroke(const Take *take, const PlanishDemoNote *note, PlanishDemoRandom *random,
                   double *line, size_t frames)
{
  const bool lead = take->row == PLANISH_DEMO_LEAD;
  const double *shape = lead ? octaves : power_chord;
  const size_t strings = lead ? 2 : 3;
  const bool muted = note->letter >= 'a';
  const double root = (lead ? LEAD_E : LOW_E) + (double)planish_demo_score_degree(note->letter);
  const double hand = 0.007 * planish_demo_random_bell(random) * PLANISH_DEMO_RATE;
  const double until = planish_demo_score_frame((double)(note->step + note->steps));
  /* Down strokes reach the low strings first, up strokes (off the eighths) the high ones. */
  const bool up = note->step % 2 == 1;
  const double force = (up ? 0.8 : 1.0) * (1.0 + 0.2 * planish_demo_random_bell(random));
  for (size_t i = 0; i < strings; ++i) {
    const double reach = 0.0025 * PLANISH_DEMO_RATE * (double)(up ? strings - 1 - i : i);
    const double at = planish_demo_score_frame((double)note->step) + hand + reach;
    const PlanishDemoPluck pluck = {
        .pitch = root + shape[i] + 0.05 * planish_demo_random_bell(random),
        .seconds = muted ? 0.15 : 7.0,
        .damping = muted ? 0.42 : 0.16,
        .pick = 0.11 + 0.03 * planish_demo_random_bell(random),
        .colour = muted ? 0.45 : 0.7,
        .force = force * (i == 0 ? 1.0 : 0.8),
        .release = 0.09,
    };
    const size_t start = (size_t)at;
    if (start < frames) {
      planish_demo_pluck(&pluck, (size_t)((muted ? 0.75 : 0.96) * (until - at)), random,
                         line + start, frames - start);
    }
  }
}

/* The level of the section, reached within 50 ms. */
static void ride(double *line, size_t frames)
{
  const double share = planish_demo_approach(0.05);
  double gain = 1.0;
  for (size_t bar = 0; bar < PLANISH_DEMO_BARS; ++bar) {
    const size_t from = (size_t)planish_demo_score_frame((double)(bar * PLANISH_DEMO_STEPS));
    const size_t to = (size_t)planish_demo_score_frame((double)((bar + 1) * PLANISH_DEMO_STEPS));
    const double asked = planish_gain_of(planish_demo_score_guitars(bar));
    for (size_t n = from; n < to && n < frames; ++n) {
      gain += share * (asked - gain);
      line[n] *= gain;
    }
  }
}

static void play(const Take *take, double *line, PlanishDemoTrack *track)
{
  PlanishDemoRandom random = planish_demo_random(take->seed);
  PlanishDemoNote note;
  memset(line, 0, track->frames * sizeof *line);
  for (size_t step = 0; planish_demo_score_next(take->row, &step, &note);) {
    stroke(take, &note, &random, line, track->frames);
  }
  planish_demo_amplify(&take->amplifier, line, track->frames);
  ride(line, track->frames);
  planish_demo_track_place(track, line, track->frames, 0, take->gain, take->pan);
}

bool planish_demo_guitars(PlanishDemoTrack *track)
{
  /* What the resonance control is for: it stands on the sides whichever note is played. */
  static const PlanishDemoBand resonance = {PLANISH_DEMO_PEAKING, 2900.0, 25.0, 12.0};
  double *line = malloc(track->frames * sizeof *line);
  if (line == NULL) {
    return false;
  }
  for (size_t i = 0; i < sizeof takes / sizeof takes[0]; ++i) {
    play(&takes[i], line, track);
  }
  free(line);
  if (!planish_demo_clean_guitars(track)) {
    return false;
  }
  planish_demo_track_filter_side(track, resonance);
  return true;
}
