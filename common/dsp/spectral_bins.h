/* What a law does with the bins of a spectral engine: reads their powers, lays down their gains.
 *
 * Bin k = 0..length/2 of left + i right stands at k, and mirrored at length - k; both ends are
 * their own mirror images.
 *
 * Thread: that of the engine. Real-time safe. */
#ifndef PLANISH_DSP_SPECTRAL_BINS_H
#define PLANISH_DSP_SPECTRAL_BINS_H

#include "common/dsp/spectral_engine.h"

#include <string.h>

/* The power of both channels together in bin k = 0..length/2 of a spectrum. */
static inline float planish_spectral_power(const PlanishComplex *spectrum, uint32_t length,
                                           uint32_t k)
{
  const PlanishComplex a = spectrum[k];
  const PlanishComplex b = spectrum[(length - k) & (length - 1)];
  return 0.5F * (a.re * a.re + a.im * a.im + b.re * b.re + b.im * b.im);
}

static inline float planish_spectral_engine_power(const PlanishSpectralEngine *engine, uint32_t k)
{
  return planish_spectral_power(engine->spectrum, engine->length, k);
}

/* Those of bins from..to-1, into powers[0..to-from-1]. */
void planish_spectral_engine_powers(const PlanishSpectralEngine *engine, float *restrict powers,
                                    uint32_t from, uint32_t to);

/* The gain of bin k = 0..length/2 on a path. Real at both ends of the range. */
static inline void planish_spectral_path_lay(const PlanishSpectralPath *path, uint32_t length,
                                             uint32_t k, PlanishComplex gain)
{
  path->gains[(length - k) & (length - 1)] = (PlanishComplex){gain.re, -gain.im};
  path->gains[k] = gain;
}

/* The gains of bins from..to-1, to <= length/2 + 1, at once. */
void planish_spectral_path_lay_all(const PlanishSpectralPath *path, uint32_t length,
                                   const PlanishComplex *gains, uint32_t from, uint32_t to);

/* Real gains of bins from..to-1, to <= length/2 + 1, under a law that has real ones; where `to` is
 * length/2 the last bin gives its own to half the rate as well. */
static inline void planish_spectral_path_lay_real(const PlanishSpectralPath *path, uint32_t length,
                                                  const float *gains, uint32_t from, uint32_t to)
{
  memcpy(path->real_gains + from, gains, (to - from) * sizeof *gains);
  if (to == length / 2) {
    path->real_gains[to] = gains[to - from - 1];
  }
}

/* What the gain of bin k = 0..length/2 adds: G - 1. Real at both ends of the range. */
static inline void planish_spectral_engine_lay(PlanishSpectralEngine *engine, uint32_t k,
                                               PlanishComplex added)
{
  planish_spectral_path_lay(&engine->path, engine->length, k, added);
}

#endif
