/* The song on paper: "Sheet and Stake", invented for this demo. 140 beats a minute, E minor, bars
 * of sixteen steps. A row holds one character a step: '.' rest, '-' the note before holds on, else
 * a note. What the letters mean:
 * - guitar, lead, bass: the note's name (f is F sharp); a capital rings, a small letter is muted.
 * - kick, snare: X accent, x plain, g ghost.
 * - cymbals: h closed hats, H accented, o open hats, c crash left, d crash right, r edge of a
 * crash.
 * - toms: 1 high, 2 middle, 3 floor. */
#ifndef PLANISH_DEMO_SCORE_H
#define PLANISH_DEMO_SCORE_H

#include <stdbool.h>
#include <stddef.h>

typedef enum {
  PLANISH_DEMO_GUITAR,
  PLANISH_DEMO_LEAD,
  PLANISH_DEMO_BASS,
  PLANISH_DEMO_KICK,
  PLANISH_DEMO_SNARE,
  PLANISH_DEMO_CYMBALS,
  PLANISH_DEMO_TOMS
} PlanishDemoRow;

enum { PLANISH_DEMO_STEPS = 16, PLANISH_DEMO_BARS = 34, PLANISH_DEMO_STRINGS = 5 };

typedef struct {
  size_t step; /* from the start of the song */
  size_t steps;
  char letter;
} PlanishDemoNote;

typedef struct {
  double at; /* steps from the start of the song */
  double steps;
  double pitch; /* MIDI note number */
  char vowel;   /* a e i o u */
  char onset;   /* '-' glides from the note before, 'n' soft, 's' hiss, 't' stop */
} PlanishDemoSyllable;

typedef enum { PLANISH_DEMO_QUIET, PLANISH_DEMO_VERSE, PLANISH_DEMO_CHORUS } PlanishDemoSection;

/* The next note of a row at or after *step, and *step moved past it; false past the last. */
bool planish_demo_score_next(PlanishDemoRow row, size_t *step, PlanishDemoNote *note);

/* Frames from the start of the file to a step. */
double planish_demo_score_frame(double step);

/* Frames of the whole file. */
size_t planish_demo_score_frames(void);

PlanishDemoSection planish_demo_score_section(size_t bar);

/* MIDI notes of the five strings of the chord that clean guitars and pad play; NULL where they
 * rest. */
const double *planish_demo_score_chord(size_t bar);

/* Level of the distorted guitars in dB against the chorus. */
double planish_demo_score_guitars(size_t bar);

const PlanishDemoSyllable *planish_demo_score_song(size_t *count);

/* Semitones of a note's name above E; -1 where the letter names none. */
int planish_demo_score_degree(char letter);

#endif
