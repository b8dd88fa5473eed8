#include "presets-demo/mix/score.h"

#include "presets-demo/mix/arithmetic.h"

#include <string.h>

#define HEAD           0.30 /* seconds ahead of the first bar */
#define SONG_SECONDS   60.0
#define BEATS_A_MINUTE 140.0

typedef struct {
  const char *guitar, *lead, *bass;
} Riff;

typedef struct {
  const char *kick, *snare, *cymbals, *toms;
} Groove;

typedef struct {
  const Riff *riff;
  const Groove *groove;
  char chord;
  PlanishDemoSection section;
  double guitars;
} Bar;

static const Riff none = {NULL, NULL, NULL};
static const Riff verse_g = {"e.eeE---e.eeG-A-", NULL, "e.eeE---e.eeG-A-"};
static const Riff verse_b = {"e.eeE---eeB-A-G-", NULL, "e.eeE---eeB-A-G-"};
static const Riff verse_c = {"e.eeC---d.ddD-F-", NULL, "e.eeC---d.ddD-F-"};
static const Riff verse_end = {"C-----C-D---F---", NULL, "C-c-c-C-D-d-F-f-"};
static const Riff chorus_c = {"C-----C-C---C-C-", NULL, "C-C-C-C-C-C-G-B-"};
static const Riff chorus_g = {"G-----G-G---G-F-", NULL, "G-G-G-G-G-G-G-F-"};
static const Riff chorus_d = {"D-----D-D---D-F-", NULL, "D-D-D-D-D-D-A-F-"};
static const Riff chorus_e = {"E-----E-e.eeE-G-", NULL, "E-E-E-E-e.eeE-G-"};
static const Riff chorus_a = {"A-----A-A---A-A-", NULL, "A-A-A-A-A-A-A-B-"};
static const Riff chorus_b = {"B-----B-b.b.B---", NULL, "B-B-B-B-b.b.B---"};
static const Riff last_c = {"C-----C-C---C-C-", "G---E---G---B---", "C-C-C-C-C-C-G-B-"};
static const Riff last_g = {"G-----G-G---G-F-", "B-------A---G---", "G-G-G-G-G-G-G-F-"};
static const Riff last_d = {"D-----D-D---D-F-", "F---D---F---A---", "D-D-D-D-D-D-A-F-"};
static const Riff last_e = {"E-----E-e.eeE-G-", "G-------B-------", "E-E-E-E-e.eeE-G-"};
static const Riff last_a = {"A-----A-A---A-A-", "E---C---E---A---", "A-A-A-A-A-A-A-B-"};
static const Riff last_b = {"B-------D---F---", "B---------------", "B-B-B-B-D-D-F-F-"};
static const Riff bridge_bass = {NULL, NULL, "A-----------A---"};
static const Riff bridge_e = {NULL, NULL, "E-----------G---"};
static const Riff bridge_c = {NULL, NULL, "C-----------B---"};
static const Riff bridge_d = {"........d.d.ddF-", NULL, "D-------d.d.ddF-"};
static const Riff ending = {"E---------------", "B---------------", "E---------------"};
static const Riff held_on = {"----------------", "----------------", "----------------"};

static const Groove silent = {NULL, NULL, NULL, NULL};
static const Groove ticking = {NULL, NULL, "h...h...h...h...", NULL};
static const Groove pick_up = {"............x.x.", "..........xxXXXX", "h...h...........",
                               "............1.2."};
static const Groove verse_1 = {"X..xx.....x.x...", "....X..g....X..g", "H.h.h.h.H.h.h.h.", NULL};
static const Groove verse_2 = {"X..xx..x..x.x...", "....X....g..X...", "H.h.h.h.H.h.h.o.", NULL};
static const Groove verse_top = {"X..xx.....x.x...", "....X..g....X..g", "c.h.h.h.H.h.h.h.", NULL};
static const Groove short_fill = {"X..xx.....x.....", "....X....gX.XX..", "H.h.h.h.H.......",
                                  "..............33"};
static const Groove long_fill = {"X...x...x.......", "....X...XXgx....", "d...h...........",
                                 "............1123"};
static const Groove chorus_top = {"X.....x.X.x.....", "....X.......X...", "c...r...r...r...", NULL};
static const Groove chorus_1 = {"X.x...x.X.x.....", "....X.......X..g", "r...r...r...r...", NULL};
static const Groove chorus_crash = {"X.x...x.X.x...x.", "....X.......X...", "d...r...r...r...",
                                    NULL};
static const Groove chorus_fill = {"X.x...x.X.......", "....X...X.XXXX..", "r...r...........",
                                   "..............23"};
static const Groove last_hits = {"X.......X...X.x.", "....X...X...X.XX", "c.......d...c...", NULL};
static const Groove bridge_soft = {"x...............", NULL, "h.......h.......", NULL};
static const Groove bridge_build = {"X...X...X.X.XXXX", "........g.x.xxXX", NULL,
                                    "3.3.3.3.3.3.2.1."};
static const Groove ring_out = {"X...............", "X...............", "c...............", NULL};
static const Groove ring_on = {NULL, NULL, NULL, NULL};

#define QUIET(riff, groove, chord)                                                                 \
  {                                                                                                \
    &(riff), &(groove), (chord), PLANISH_DEMO_QUIET, -2.0                                          \
  }
#define VERSE(riff, groove)                                                                        \
  {                                                                                                \
    &(riff), &(groove), 0, PLANISH_DEMO_VERSE, -2.5                                                \
  }
#define CHORUS(riff, groove)                                                                       \
  {                                                                                                \
    &(riff), &(groove), 0, PLANISH_DEMO_CHORUS, 0.0                                                \
  }

static const Bar bars[PLANISH_DEMO_BARS] = {
    QUIET(none, silent, 'e'),          QUIET(none, silent, 'c'),
    QUIET(none, ticking, 'g'),         QUIET(none, pick_up, 'd'),
    VERSE(verse_g, verse_top),         VERSE(verse_b, verse_1),
    VERSE(verse_g, verse_2),           VERSE(verse_c, short_fill),
    VERSE(verse_g, verse_top),         VERSE(verse_b, verse_1),
    VERSE(verse_c, verse_2),           VERSE(verse_end, long_fill),
    CHORUS(chorus_c, chorus_top),      CHORUS(chorus_g, chorus_1),
    CHORUS(chorus_d, chorus_1),        CHORUS(chorus_e, chorus_crash),
    CHORUS(chorus_c, chorus_top),      CHORUS(chorus_g, chorus_1),
    CHORUS(chorus_a, chorus_1),        CHORUS(chorus_b, chorus_fill),
    QUIET(bridge_bass, ring_out, 'a'), QUIET(bridge_e, bridge_soft, 'e'),
    QUIET(bridge_c, bridge_soft, 'c'), QUIET(bridge_d, bridge_build, 'd'),
    CHORUS(last_c, chorus_top),        CHORUS(last_g, chorus_1),
    CHORUS(last_d, chorus_crash),      CHORUS(last_e, chorus_fill),
    CHORUS(last_c, chorus_top),        CHORUS(last_g, chorus_1),
    CHORUS(last_a, chorus_crash),      CHORUS(last_b, last_hits),
    CHORUS(ending, ring_out),          CHORUS(held_on, ring_on),
};

static const char *row_of(const Bar *bar, PlanishDemoRow row)
{
  switch (row) {
  case PLANISH_DEMO_GUITAR:
    return bar->riff->guitar;
  case PLANISH_DEMO_LEAD:
    return bar->riff->lead;
  case PLANISH_DEMO_BASS:
    return bar->riff->bass;
  case PLANISH_DEMO_KICK:
    return bar->groove->kick;
  case PLANISH_DEMO_SNARE:
    return bar->groove->snare;
  case PLANISH_DEMO_CYMBALS:
    return bar->groove->cymbals;
  case PLANISH_DEMO_TOMS:
  default:
    return bar->groove->toms;
  }
}

static char letter_at(PlanishDemoRow row, size_t step)
{
  const char *text = row_of(&bars[step / PLANISH_DEMO_STEPS], row);
  return text == NULL ? '.' : text[step % PLANISH_DEMO_STEPS];
}

bool planish_demo_score_next(PlanishDemoRow row, size_t *step, PlanishDemoNote *note)
{
  const size_t end = (size_t)PLANISH_DEMO_BARS * PLANISH_DEMO_STEPS;
  size_t s = *step;
  while (s < end && (letter_at(row, s) == '.' || letter_at(row, s) == '-')) {
    ++s;
  }
  if (s >= end) {
    return false;
  }
  *note = (PlanishDemoNote){.step = s, .steps = 1, .letter = letter_at(row, s)};
  while (s + note->steps < end && letter_at(row, s + note->steps) == '-') {
    ++note->steps;
  }
  *step = s + note->steps;
  return true;
}

double planish_demo_score_frame(double step)
{
  return PLANISH_DEMO_RATE * (HEAD + step * (60.0 / (4.0 * BEATS_A_MINUTE)));
}

size_t planish_demo_score_frames(void)
{
  return (size_t)(SONG_SECONDS * PLANISH_DEMO_RATE);
}

PlanishDemoSection planish_demo_score_section(size_t bar)
{
  return bars[bar].section;
}

const double *planish_demo_score_chord(size_t bar)
{
  static const char names[] = "ecgda";
  static const double strings[][PLANISH_DEMO_STRINGS] = {
      {52.0, 59.0, 64.0, 67.0, 71.0}, /* E minor */
      {48.0, 55.0, 60.0, 64.0, 71.0}, /* C major seventh */
      {55.0, 59.0, 62.0, 67.0, 71.0}, /* G major */
      {50.0, 57.0, 62.0, 66.0, 69.0}, /* D major */
      {45.0, 52.0, 57.0, 60.0, 64.0}, /* A minor */
  };
  const char *name = bars[bar].chord == 0 ? NULL : strchr(names, bars[bar].chord);
  return name == NULL ? NULL : strings[name - names];
}

double planish_demo_score_guitars(size_t bar)
{
  return bars[bar].guitars;
}

int planish_demo_score_degree(char letter)
{
  static const char names[] = "efgabcd";
  static const int degrees[] = {0, 2, 3, 5, 7, 8, 10};
  const char small = letter >= 'A' && letter <= 'Z' ? (char)(letter - 'A' + 'a') : letter;
  const char *name = small == 0 ? NULL : strchr(names, small);
  return name == NULL ? -1 : degrees[name - names];
}
