/* The resonance stage on whole signals: making them and running it over them. */
#ifndef PLANISH_TESTS_RESONANCE_FIXTURE_H
#define PLANISH_TESTS_RESONANCE_FIXTURE_H

#include "tests/unit/long_spectra.h"
#include "ttl/resonance_ports.h"

/* A bell of the audio EQ cookbook (R. Bristow-Johnson) over both channels. */
static inline void ring(Audio *audio, double hz, double gain_db, double q)
{
  const double a = pow(10.0, gain_db / 40.0);
  const double w = 2.0 * PI * hz / audio->rate;
  const double alpha = sin(w) / (2.0 * q);
  const double c = -2.0 * cos(w);
  const double norm = 1.0 + alpha / a;
  for (int ch = 0; ch < 2; ++ch) {
    double s1 = 0.0;
    double s2 = 0.0;
    for (size_t n = 0; n < audio->frames; ++n) {
      const double x = audio->channel[ch][n];
      const double y = (1.0 + alpha * a) / norm * x + s1;
      s1 = c / norm * x - c / norm * y + s2;
      s2 = (1.0 - alpha * a) / norm * x - (1.0 - alpha / a) / norm * y;
      audio->channel[ch][n] = y;
    }
  }
}

/* Treats the side alone, as the frame does with channels on side. */
static inline Audio treated_side(const Audio *in, const Setting *settings, size_t count)
{
  Audio side = audio_copy(in, 0);
  for (size_t n = 0; n < in->frames; ++n) {
    side.channel[0][n] = 0.5 * (in->channel[0][n] - in->channel[1][n]);
    side.channel[1][n] = 0.0;
  }
  Audio out = treated(&side, settings, count);
  audio_free(&side);
  return out;
}

/* The mix of stems with the guitars that ring in place of the clean ones. */
static inline bool ringing_read(Audio *mix, int seed)
{
  return stems_read_with(mix, seed, "guitars-ringing");
}

#endif
