/* A band of the equaliser: its controls on their way, and two voices, so that what cannot glide
 * (type, order, channels) is cross-faded.
 *
 * A band that is off or at 0 dB has no voice: it costs nothing and changes no bit. Controls set
 * while it is silent take effect at once. A change of shape during a cross-fade waits for its end.
 *
 * All functions but setup are real-time safe. */
#ifndef PLANISH_MS_EQ_EQ_BAND_H
#define PLANISH_MS_EQ_EQ_BAND_H

#include "common/dsp/crossfade.h"
#include "plugins/ms-eq/eq_voice.h"

typedef struct {
  PlanishGlide frequency; /* log2 of Hz */
  PlanishGlide gain;      /* dB */
  PlanishGlide q;         /* log2 */
  PlanishEqShape wanted;
  PlanishEqPath path;
  PlanishEqVoice voice[2];
  bool sounding[2];
  unsigned current; /* the voice that stays when the fade is over */
  PlanishCrossfade fade;
} PlanishEqBand;

/* What the ports say. */
typedef struct {
  PlanishEqShape shape;
  double frequency; /* Hz */
  double gain;      /* dB */
  double q;
} PlanishEqBandControls;

void planish_eq_band_setup(PlanishEqBand *band, PlanishArena *arena, double rate);

/* Forgets all history and stands on `controls`. */
void planish_eq_band_jump(PlanishEqBand *band, const PlanishEqFit *fit,
                          const PlanishEqBandControls *controls);

/* At a grid frame, before planish_eq_band_grid(). `watched`: somebody follows where the controls
 * are, so they glide though the band is silent. */
void planish_eq_band_set(PlanishEqBand *band, const PlanishEqBandControls *controls, bool watched);

/* At every grid frame. One design at most. */
void planish_eq_band_grid(PlanishEqBand *band, const PlanishEqFit *fit);

/* False: the band changes nothing up to the next grid frame. */
static inline bool planish_eq_band_is_sounding(const PlanishEqBand *band)
{
  return band->sounding[0] || band->sounding[1];
}

/* `frames` of (left, right) in place; `at` is the first one's place in the grid interval. */
void planish_eq_band_process(PlanishEqBand *band, double rate, PlanishTwo *audio, uint32_t at,
                             uint32_t frames);

/* Where the controls are at this grid frame. */
PlanishEqSetting planish_eq_band_setting(const PlanishEqBand *band);

#endif
