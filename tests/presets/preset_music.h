/* Music at the loudness that a preset is made for, and what the preset makes of it. */
#ifndef PLANISH_TESTS_PRESET_MUSIC_H
#define PLANISH_TESTS_PRESET_MUSIC_H

#include "harness/host/instance.h"
#include "harness/host/preset.h"
#include "tests/unit/audio_measures.h"

enum { PRESET_PIECES = 6 };

typedef struct {
  const char *name;
  Audio audio;
  double loudness; /* LUFS */
} PresetPiece;

typedef struct {
  size_t count;
  PresetPiece piece[PRESET_PIECES];
} PresetMusic;

/* The demo mix, written to `path` first, and the pieces beside the project (DEVELOPERS.md) where
 * they are there. */
void preset_music_read(PresetMusic *music, const char *path);
void preset_music_free(PresetMusic *music);

/* The piece at a loudness in LUFS, as a stage's ports carry it. */
Audio preset_music_at(const PresetPiece *piece, double loudness);

/* The instance, set as the preset says and activated. */
PlanishInstance *preset_instance(const PlanishPlugin *plugin, const PlanishPreset *preset,
                                 double rate);

/* What the preset makes of it, lined up. */
Audio preset_treated(const PlanishPlugin *plugin, const PlanishPreset *preset, const Audio *in);

#endif
