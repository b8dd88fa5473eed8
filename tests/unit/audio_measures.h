/* Loudness and true peak of whole stereo signals, by instruments that share nothing with ours. */
#ifndef PLANISH_TESTS_AUDIO_MEASURES_H
#define PLANISH_TESTS_AUDIO_MEASURES_H

#include "tests/unit/reconstruct.h"
#include "tests/unit/stems.h"

#include <ebur128.h>

/* Integrated, LUFS. */
static inline double audio_loudness(const Audio *audio)
{
  ebur128_state *meter = ebur128_init(2, (unsigned long)audio->rate, EBUR128_MODE_I);
  double found = 0.0;
  for (size_t n = 0; n < audio->frames; ++n) {
    const double frame[2] = {audio->channel[0][n], audio->channel[1][n]};
    ebur128_add_frames_double(meter, frame, 1);
  }
  ebur128_loudness_global(meter, &found);
  ebur128_destroy(&meter);
  return found;
}

/* dBTP. */
static inline double audio_true_peak(const Audio *audio)
{
  return fmax(reconstruct_peak_db(audio->channel[0], audio->frames),
              reconstruct_peak_db(audio->channel[1], audio->frames));
}

#endif
