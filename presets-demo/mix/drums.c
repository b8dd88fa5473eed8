#include "presets-demo/mix/players.h"

#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/kit.h"
#include "presets-demo/mix/room.h"
#include "presets-demo/mix/score.h"

#include <stdlib.h>
#include <string.h>

enum { LONGEST_STROKE = 4 * 48000 };

typedef struct {
  PlanishDemoRow row;
  char letter;
  PlanishDemoStroke *stroke;
  double force;
  double gain;
  double pan;  /* as the listener before the kit hears it */
  double late; /* spread of the hand, ms */
} Piece;

static const Piece kit[] = {
    {PLANISH_DEMO_KICK, 'X', planish_demo_kick, 0.95, 1.0, 0.0, 2.0},
    {PLANISH_DEMO_KICK, 'x', planish_demo_kick, 0.82, 1.0, 0.0, 3.0},
    {PLANISH_DEMO_SNARE, 'X', planish_demo_snare, 0.97, 0.95, 0.04, 3.0},
    {PLANISH_DEMO_SNARE, 'x', planish_demo_snare, 0.72, 0.95, 0.04, 4.0},
    {PLANISH_DEMO_SNARE, 'g', planish_demo_snare, 0.25, 0.95, 0.04, 6.0},
    {PLANISH_DEMO_CYMBALS, 'h', planish_demo_closed_hats, 0.55, 0.82, 0.50, 5.0},
    {PLANISH_DEMO_CYMBALS, 'H', planish_demo_closed_hats, 0.85, 0.82, 0.50, 4.0},
    {PLANISH_DEMO_CYMBALS, 'o', planish_demo_open_hats, 0.85, 0.82, 0.50, 4.0},
    {PLANISH_DEMO_CYMBALS, 'c', planish_demo_crash, 0.95, 1.30, -0.65, 3.0},
    {PLANISH_DEMO_CYMBALS, 'd', planish_demo_crash, 0.90, 1.30, 0.65, 3.0},
    {PLANISH_DEMO_CYMBALS, 'r', planish_demo_crash_edge, 0.75, 1.15, -0.50, 5.0},
    {PLANISH_DEMO_TOMS, '1', planish_demo_high_tom, 0.85, 0.9, 0.30, 4.0},
    {PLANISH_DEMO_TOMS, '2', planish_demo_middle_tom, 0.88, 0.9, -0.05, 4.0},
    {PLANISH_DEMO_TOMS, '3', planish_demo_floor_tom, 0.92, 0.9, -0.45, 4.0},
};

static const Piece *piece_of(PlanishDemoRow row, char letter)
{
  for (size_t i = 0; i < sizeof kit / sizeof kit[0]; ++i) {
    if (kit[i].row == row && kit[i].letter == letter) {
      return &kit[i];
    }
  }
  return NULL;
}

static void strike(const Piece *piece, const PlanishDemoNote *note, PlanishDemoRandom *random,
                   double *sound, PlanishDemoTrack *track)
{
  memset(sound, 0, LONGEST_STROKE * sizeof *sound);
  const bool soft =
      planish_demo_score_section(note->step / PLANISH_DEMO_STEPS) == PLANISH_DEMO_QUIET &&
      piece->row == PLANISH_DEMO_CYMBALS && piece->letter == 'h';
  const double hand = 1.0 + 0.13 * planish_demo_random_bell(random);
  const double force = planish_min(1.0, piece->force * hand) * (soft ? 0.5 : 1.0);
  piece->stroke(force, random, sound, LONGEST_STROKE);
  const double late = 0.001 * piece->late * planish_demo_random_bell(random);
  const double at = planish_demo_score_frame((double)note->step) + late * PLANISH_DEMO_RATE;
  planish_demo_track_place(track, sound, LONGEST_STROKE, (ptrdiff_t)at, piece->gain, piece->pan);
}

/* Strokes that pile up lean on the desk's input a little. */
static void lean(PlanishDemoTrack *track)
{
  for (size_t n = 0; n < track->frames; ++n) {
    track->left[n] = planish_demo_soft(track->left[n]);
    track->right[n] = planish_demo_soft(track->right[n]);
  }
}

bool planish_demo_drums(PlanishDemoTrack *track)
{
  static const PlanishDemoRoom room = {0.75, 0.45, 0.006, 0.45, 140.0};
  double *sound = malloc(LONGEST_STROKE * sizeof *sound);
  if (sound == NULL) {
    return false;
  }
  for (int row = PLANISH_DEMO_KICK; row <= PLANISH_DEMO_TOMS; ++row) {
    PlanishDemoRandom random = planish_demo_random(100u + (uint64_t)row);
    PlanishDemoNote note;
    for (size_t step = 0; planish_demo_score_next((PlanishDemoRow)row, &step, &note);) {
      const Piece *piece = piece_of((PlanishDemoRow)row, note.letter);
      if (piece != NULL) {
        strike(piece, &note, &random, sound, track);
      }
    }
  }
  free(sound);
  lean(track);
  return planish_demo_room_add(&room, track, 0.17, track);
}
