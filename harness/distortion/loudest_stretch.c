#include "harness/distortion/loudest_stretch.h"

#include "common/dsp/k_weighting.h"
#include "harness/base/interrupt.h"

#include <stdlib.h>

enum { PIECE = 4096 };

/* Power of each second, both channels together. The rest of the last second does not count. */
static bool weigh(PlanishTrack *track, double rate, size_t second, size_t count, double *powers,
                  PlanishError *error)
{
  const PlanishKWeightingCoefs coefs = planish_k_weighting_design(rate);
  PlanishKWeighting k[2];
  planish_k_weighting_reset(&k[0]);
  planish_k_weighting_reset(&k[1]);
  float piece[2 * PIECE];
  for (size_t s = 0; s < count; ++s) {
    for (size_t at = 0; at < second; at += PIECE) {
      const size_t frames = second - at < PIECE ? second - at : PIECE;
      if (!planish_track_read(track, (uint64_t)s * second + at, piece, frames, error)) {
        return false;
      }
      for (size_t n = 0; n < 2 * frames; ++n) {
        const double x = planish_k_weighting_process(&k[n % 2], &coefs, (double)piece[n]);
        powers[s] += x * x;
      }
    }
    if (!planish_interrupt_check(error)) {
      return false;
    }
  }
  return true;
}

/* The first of the `wide` neighbours that have the largest sum. */
static size_t largest_run(const double *powers, size_t count, size_t wide)
{
  double sum = 0.0;
  for (size_t s = 0; s < wide; ++s) {
    sum += powers[s];
  }
  double largest = sum;
  size_t best = 0;
  for (size_t s = 1; s + wide <= count; ++s) {
    sum += powers[s + wide - 1] - powers[s - 1];
    if (sum > largest) {
      largest = sum;
      best = s;
    }
  }
  return best;
}

bool planish_loudest_stretch(PlanishTrack *track, double rate, double seconds,
                             PlanishStretch *stretch, PlanishError *error)
{
  const uint64_t frames = planish_track_frames(track);
  const size_t second = (size_t)(rate + 0.5);
  const size_t wide = (size_t)seconds;
  *stretch = (PlanishStretch){0, frames};
  if (frames <= (uint64_t)wide * second) {
    return true;
  }
  const size_t count = (size_t)(frames / second);
  double *powers = calloc(count, sizeof *powers);
  if (powers == NULL) {
    return planish_fail_memory(error);
  }
  const bool done = weigh(track, rate, second, count, powers, error);
  if (done) {
    *stretch = (PlanishStretch){(uint64_t)largest_run(powers, count, wide) * second,
                                (uint64_t)wide * second};
  }
  free(powers);
  return done;
}
