#include "plugins/attack-sustain-eq/tone.h"

#include "common/dsp/maths.h"
#include "common/dsp/wide.h"

#include <math.h>

void tone_set(Tone *tone, const ToneSettings *settings, double rate, uint32_t length)
{
  tone->gain = (float)planish_gain_of(settings->gain);
  tone->step = (float)(2.0 * PLANISH_PI / (double)length);
  for (int b = 0; b < TONE_BANDS; ++b) {
    PlanishEqPrototype prototype;
    planish_eq_prototype(&settings->bands[b], rate, &prototype);
    const PlanishEqPolynomial *const n = &prototype.section[0].numerator;
    const PlanishEqPolynomial *const d = &prototype.section[0].denominator;
    tone->bands[b] = (ToneBand){(float)n->p0, (float)n->p1, (float)n->p2,
                                (float)d->p0, (float)d->p1, (float)d->p2};
  }
}

PLANISH_WIDE static void add_band(const ToneBand *band, float step, float *restrict power,
                                  uint32_t from, uint32_t to)
{
  const ToneBand b = *band;
  for (uint32_t i = 0; i < to - from; ++i) {
    const float w = step * (float)(int32_t)(from + i);
    const float w2 = w * w;
    const float over = b.n0 - b.n2 * w2;
    const float under = b.d0 - b.d2 * w2;
    power[i] *= (over * over + b.n1 * b.n1 * w2) / (under * under + b.d1 * b.d1 * w2);
  }
}

PLANISH_WIDE void tone_get(const Tone *tone, float *gain, uint32_t from, uint32_t to)
{
  for (uint32_t i = 0; i < to - from; ++i) {
    gain[i] = 1.0F;
  }
  for (int b = 0; b < TONE_BANDS; ++b) {
    add_band(&tone->bands[b], tone->step, gain, from, to);
  }
  for (uint32_t i = 0; i < to - from; ++i) {
    gain[i] = tone->gain * sqrtf(gain[i]);
  }
}
