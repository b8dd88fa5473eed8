/* Where a mix differs from the one before: stretches of time, and the third octaves that changed in
 * each.
 *
 * Both are lined up and their polarity is matched (compare.h): by the delay found, or by the whole
 * frames next to it where that leaves more windows unchanged, since a filter in one place moves the
 * delay of all by a trace. The level match is the weighted
 * median of the gains of all windows of PLANISH_MIX_WINDOW, so that a change in one place does not
 * move the rest: where nothing was changed nothing is left. A window in which the difference passes
 * `level`, in dB re the mean power of the old mix, has changed; changed windows less than
 * PLANISH_MIX_JOIN apart are one stretch. Frames that only one of them has are no stretch: the
 * lengths say so.
 *
 * Memory: 48 bytes a window, 5 MB for three hours. Thread: see compare.h. */
#ifndef PLANISH_HARNESS_MIX_CHANGES_H
#define PLANISH_HARNESS_MIX_CHANGES_H

#include "harness/compare/compare.h"

#define PLANISH_MIX_WINDOW 0.1     /* s */
#define PLANISH_MIX_JOIN   0.5     /* s */
#define PLANISH_MIX_LEVEL  (-60.0) /* dB re the old mix, unless asked for otherwise */
#define PLANISH_MIX_BAND   0.25    /* dB by which a third octave must have changed to be told */
#define PLANISH_MIX_FLOOR  (-90.0) /* dBFS: below it a third octave is not told */
#define PLANISH_MIX_LISTED 20      /* stretches whose bands are looked at: those changed most */

typedef struct {
  double from; /* s, in the old mix, to one window */
  double to;
  double difference; /* dB re the mean power of the old mix, over the stretch */
  bool listed;       /* the bands below are known */
  size_t band_count;
  double nominal[PLANISH_THIRD_OCTAVES_MAX]; /* Hz, of the bands that changed */
  double change[PLANISH_THIRD_OCTAVES_MAX];  /* dB, new less old at equal level */
} PlanishMixStretch;

typedef struct {
  PlanishComparison *comparison; /* old is A, new is B */
  double delay;                  /* frames by which the new mix is taken to be later */
  double gain;                   /* dB, given to the new mix; NAN: nothing to match */
  double level;                  /* dB re the old mix, as asked for */
  double changed;                /* s in all stretches */
  PlanishMixStretch *stretches;  /* in order of time */
  size_t count;
} PlanishMixChanges;

/* `setup` is compare.h's: old and new. planish_mix_changes_release() gives it back either way. */
bool planish_mix_changes_find(PlanishMixChanges *changes, const PlanishCompareSetup *setup,
                              double level, PlanishError *error);
void planish_mix_changes_release(PlanishMixChanges *changes);

#endif
