/* One filter of the equaliser on one part of the signal: sections, then the correction (see
 * common/dsp/eq_design.h), with coefficients that may be on their way.
 *
 * While a setting moves, the sections are designed afresh every PLANISH_EQ_STEP frames and the
 * correction on every grid frame; in between, coefficients and taps run in straight lines, changed
 * on every frame. So the response is that of the setting at any moment, and the work is the same in
 * every grid interval. Where only a movement moves, the designs are looked up (eq_range.h).
 *
 * All functions are real-time safe. */
#ifndef PLANISH_MS_EQ_EQ_VOICE_H
#define PLANISH_MS_EQ_EQ_VOICE_H

#include "common/dsp/crossfade.h"
#include "common/dsp/eq_design.h"
#include "common/dsp/glide.h"
#include "plugins/ms-eq/eq_channels.h"
#include "plugins/ms-eq/eq_range.h"

#include <stdbool.h>
#include <stdint.h>

/* Frames between two designs of the sections of a moving voice. */
#define PLANISH_EQ_STEP  8
#define PLANISH_EQ_STEPS (PLANISH_GRID / PLANISH_EQ_STEP)

/* Frames that the correction may look at too many, since it works on four at once. */
#define PLANISH_EQ_ROOM 3

/* What cannot glide. */
typedef struct {
  bool on;
  PlanishEqType type;
  unsigned order;
  PlanishEqChannels channels;
  bool moves_alone; /* what stands is done elsewhere: the filter is the band over what stands */
} PlanishEqShape;

/* Settings of a band at the ends of the steps of a grid interval. */
typedef struct {
  PlanishEqSetting end[PLANISH_EQ_STEPS];
  double standing[PLANISH_EQ_STEPS]; /* dB of the gain that stand; for moves_alone */
  const PlanishEqRange *range;       /* where it is known, and nothing but the movement moves */
  double moved[PLANISH_EQ_STEPS];    /* the movement there, dB; of a known range alone */
} PlanishEqPath;

typedef struct {
  PlanishEqShape shape;
  bool moving;     /* the sections */
  bool correcting; /* the taps move too; only within a grid interval that began with aim() */
  unsigned count;  /* sections */
  unsigned length; /* taps that matter, now and at the end of the grid interval */
  PlanishSvf state[PLANISH_EQ_MAX_SECTIONS];
  PlanishSvfCoefs coefs[PLANISH_EQ_MAX_SECTIONS]; /* at this frame */
  bool paired; /* `pairs` are those of `coefs`; while nothing moves */
  PlanishSvfPairs pairs[PLANISH_EQ_MAX_SECTIONS];
  PlanishTwo waiting[PLANISH_EQ_MAX_SECTIONS];
  PlanishSvfWay way[PLANISH_EQ_MAX_SECTIONS]; /* through the step */
  PlanishEqSections next;                     /* at its end */
  double taps[PLANISH_EQ_TAPS];
  double tap_change[PLANISH_EQ_TAPS];
  double next_taps[PLANISH_EQ_TAPS]; /* at the end of the grid interval */
  /* Input of the correction: what has been, then what the sections give now, and some room. */
  PlanishTwo line[PLANISH_EQ_TAPS - 1 + PLANISH_GRID + PLANISH_EQ_ROOM];
  PlanishCrossfade entry; /* of the signal into the filters */
} PlanishEqVoice;

/* Standing on `setting`, of whose gain `standing` dB stand. From silence, or in the middle of a
 * signal: then the signal fades into the filters over PLANISH_GLIDE_MS, and what they add with it.
 * (Fading what comes out instead would let their own way from rest be heard: low filters thump
 * under a tone far above them.) */
void planish_eq_voice_start(PlanishEqVoice *voice, const PlanishEqFit *fit, PlanishEqShape shape,
                            const PlanishEqSetting *setting, double standing, bool from_silence);

/* At a grid frame: heads for the setting at the end of this grid interval. */
void planish_eq_voice_aim(PlanishEqVoice *voice, const PlanishEqFit *fit,
                          const PlanishEqSetting *end, double standing);

/* The same for a movement in a known range. */
void planish_eq_voice_aim_within(PlanishEqVoice *voice, const PlanishEqRange *range, double moved);

/* At the beginning of a step: the sections alone leave for what the path says. */
static inline void planish_eq_voice_leave(PlanishEqVoice *voice)
{
  voice->moving = true;
}

static inline bool planish_eq_voice_has_left(const PlanishEqVoice *voice)
{
  return voice->moving;
}

/* At a grid frame: stands where it was heading. Before aim() too. */
void planish_eq_voice_land(PlanishEqVoice *voice);

/* What the voice adds to left and right: filtered minus unfiltered, on its channels. `at` is the
 * place of the first frame in the grid interval, at + frames <= PLANISH_GRID. `path` is looked at
 * only while the voice moves. `difference` is not `audio`. */
void planish_eq_voice_difference(PlanishEqVoice *voice, double rate, const PlanishEqPath *path,
                                 const PlanishTwo *audio, PlanishTwo *difference, uint32_t at,
                                 uint32_t frames);

#endif
