/* The law of the resonance stage in one of its windows: an engine, what it learns of the sound, and
 * the gains that follow.
 *
 * Thread: one at a time. All but setup and release are real-time safe. */
#ifndef PLANISH_RESONANCE_LAW_H
#define PLANISH_RESONANCE_LAW_H

#include "common/dsp/arena.h"
#include "common/dsp/minimum_phase.h"
#include "common/dsp/spectral_engine.h"
#include "plugins/resonance/cut.h"
#include "plugins/resonance/excess.h"
#include "plugins/resonance/standing.h"

#include <stdbool.h>

typedef struct {
  ResonanceCutSettings cut;
  double bandwidth;        /* octaves */
  double note_protection;  /* 0..1 */
  double observation_time; /* seconds */
} ResonanceSettings;

typedef struct {
  PlanishSpectralEngine engine;
  PlanishMinimumPhase phase;
  ResonanceExcess excess;
  ResonanceStanding standing;
  ResonanceCut cut;
  float *reach;             /* how far a cut may go, dB, of the bins under work */
  ResonanceSettings wanted; /* taken over at the start of each hop */
  ResonanceSettings settings;
  double rate;
  float deepest;           /* of the hop under work: the largest cut so far, log2, ... */
  uint32_t deepest_bin;    /* the first of those that are cut so far, ... */
  uint32_t deepest_to;     /* ... and the last that lies with it */
  double largest_cut;      /* of the hop before, dB, ... */
  double largest_cut_freq; /* ... and where, Hz; 0: nowhere */
} ResonanceLaw;

/* `length` is the engine's frame. PLANISH_NO_MEMORY where there is no plan. */
PlanishStatus resonance_law_setup(ResonanceLaw *law, PlanishArena *arena, double rate,
                                  uint32_t length);

/* With gains of minimum phase, or of none (the same gain before and after an attack). */
void resonance_law_reset(ResonanceLaw *law, bool linear_phase);

/* In force from the next hop on. */
void resonance_law_set(ResonanceLaw *law, const ResonanceSettings *settings);

static inline void resonance_law_process(ResonanceLaw *law, double *const *audio, uint32_t channels,
                                         uint32_t frames)
{
  planish_spectral_engine_process(&law->engine, audio, channels, frames);
}

/* Fine on zeros, and twice. */
void resonance_law_release(ResonanceLaw *law);

#endif
