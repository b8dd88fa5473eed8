/* A band of the equaliser: its controls on their way, and two voices, so that what cannot glide
 * (type, order, channels) is cross-faded.
 *
 * A band that is off or at 0 dB has no voice: it costs nothing and changes no bit. Controls set
 * while it is silent take effect at once. A change of shape during a cross-fade waits for its end.
 *
 * Some bands may move: their level moves their gain (movement.h). Such a band has a voice all the
 * time, so that it leaves from 0 dB without a start; at 0 dB it changes no bit either.
 *
 * Where what stands of all bands is done elsewhere (linear_filter.h) a shape says moves_alone: the
 * band is then its movement alone, over the band at its own gain, and without a movement silent.
 *
 * All functions but setup are real-time safe. */
#ifndef PLANISH_MS_EQ_EQ_BAND_H
#define PLANISH_MS_EQ_EQ_BAND_H

#include "common/dsp/crossfade.h"
#include "plugins/ms-eq/eq_voice.h"
#include "plugins/ms-eq/movement.h"

/* A number and two to its power. */
typedef struct {
  double log2;
  double power;
} PlanishEqPower;

typedef struct {
  bool settled;           /* until controls are set there is nothing to do at grid frames */
  PlanishGlide frequency; /* log2 of Hz */
  PlanishGlide gain;      /* dB */
  PlanishGlide q;         /* log2 */
  PlanishEqPower hz;      /* of the frequency's logarithm, as it was last needed */
  PlanishEqPower plain_q;
  PlanishEqShape wanted;
  PlanishCrossfade fade; /* between the voices */
  PlanishEqPath path;
  PlanishEqVoice voice[2];
  bool sounding[2];
  bool can_move;
  bool moves;                 /* in this grid interval */
  unsigned current;           /* the voice that stays when the fade is over */
  PlanishEqMovement movement; /* of bands that may move, as is all that follows */
  PlanishGlide move;          /* dB */
  PlanishGlide threshold;     /* dB */
  double move_end[PLANISH_EQ_STEPS];
  double threshold_end[PLANISH_EQ_STEPS];
  double corrected; /* the movement that the correction stands on or heads for, dB */
  PlanishEqRange range;
} PlanishEqBand;

/* What the ports say. */
typedef struct {
  PlanishEqShape shape;
  double frequency; /* Hz */
  double gain;      /* dB */
  double q;
  double move;            /* dB; 0: still, as are bands that cannot move */
  double threshold;       /* dB */
  PlanishGainTimes times; /* planish_eq_movement_times() */
} PlanishEqBandControls;

void planish_eq_band_setup(PlanishEqBand *band, PlanishArena *arena, double rate, bool can_move);

/* Forgets all history and stands on `controls`. */
void planish_eq_band_jump(PlanishEqBand *band, const PlanishEqFit *fit,
                          const PlanishEqBandControls *controls);

/* At a grid frame, before planish_eq_band_grid(). `watched`: somebody follows where the controls
 * are, so they glide though the band is silent. */
void planish_eq_band_set(PlanishEqBand *band, const PlanishEqBandControls *controls, bool watched);

/* At every grid frame. One design at most, and a point of the range. */
void planish_eq_band_grid(PlanishEqBand *band, const PlanishEqFit *fit);

/* False: the band changes nothing up to the next grid frame. */
static inline bool planish_eq_band_is_sounding(const PlanishEqBand *band)
{
  return band->sounding[0] || band->sounding[1];
}

/* Smallest and largest movement of some frames, dB. */
typedef struct {
  double least;
  double most;
} PlanishEqExtremes;

/* `frames` of (left, right) in place; `at` is the first one's place in the grid interval. `input`:
 * what moves the band, which is the same for all bands, so that none moves another. Widens
 * `extremes` to what the band was moved by. */
void planish_eq_band_process(PlanishEqBand *band, double rate, const PlanishTwo *input,
                             PlanishTwo *audio, uint32_t at, uint32_t frames,
                             PlanishEqExtremes *extremes);

/* Where the controls are at this grid frame, without the movement. */
PlanishEqSetting planish_eq_band_setting(const PlanishEqBand *band);

#endif
