/* The equaliser of one part: its level, a low shelf, two bells and a high shelf, as one gain for
 * each bin. The curves are those of the analog filters (eq_prototype.h), without their phase.
 *
 * Thread: one at a time. Real-time safe. */
#ifndef PLANISH_ATTACK_SUSTAIN_EQ_TONE_H
#define PLANISH_ATTACK_SUSTAIN_EQ_TONE_H

#include "common/dsp/eq_prototype.h"

#include <stdint.h>

enum { TONE_BANDS = 4 };

typedef struct {
  double gain; /* dB */
  PlanishEqSetting bands[TONE_BANDS];
} ToneSettings;

/* Of w in radians a frame: ((n0 - n2 w^2)^2 + (n1 w)^2) / the same with d. */
typedef struct {
  float n0, n1, n2;
  float d0, d1, d2;
} ToneBand;

typedef struct {
  ToneBand bands[TONE_BANDS];
  float gain;
  float step; /* radians a frame between two bins */
} Tone;

/* `length` is the engine's frame. */
void tone_set(Tone *tone, const ToneSettings *settings, double rate, uint32_t length);

/* The gains of bins from..to-1, into gain[0..to-from-1]; exactly 1 where all is
 * at 0 dB. */
void tone_get(const Tone *tone, float *gain, uint32_t from, uint32_t to);

#endif
