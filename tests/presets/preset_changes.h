/* What changed between two takes of a piece, in thirds of octaves of mid, side, left and right. */
#ifndef PLANISH_TESTS_PRESET_CHANGES_H
#define PLANISH_TESTS_PRESET_CHANGES_H

#include "tests/unit/audio_measures.h"

enum { PRESET_BANDS = 30 }; /* from 20 Hz to 16 kHz: what is over them is not heard */

typedef enum { PRESET_MID, PRESET_SIDE, PRESET_LEFT, PRESET_RIGHT, PRESET_SIGNALS } PresetSignal;

/* dB over time, where there is sound; a plain change of level of the whole is left in. */
typedef struct {
  double rms;
  double mean;
  double rising;  /* the mean of where the third gets louder: attacks */
  double falling; /* and of where it gets softer: what rings on */
  double median;  /* of how far it moves, either way */
  double busiest; /* what a twentieth of the time is over */
} PresetChange;

typedef struct {
  PresetChange of[PRESET_SIGNALS][PRESET_BANDS];
} PresetChanges;

/* Hz. */
double preset_band_centre(int band);

/* `out` has as many frames as `in`. */
void preset_changes_find(const Audio *in, const Audio *out, PresetChanges *changes);

#endif
