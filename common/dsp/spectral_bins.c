#include "common/dsp/spectral_bins.h"

#include "common/dsp/eight_floats.h"
#include "common/dsp/wide.h"

/* planish_spectral_power() of eight bins at once. The mirror images lie the other way round. */
PLANISH_WIDE static void find_powers(const PlanishComplex *spectrum, const PlanishComplex *mirrored,
                                     float *powers, uint32_t count)
{
  for (uint32_t at = 0; at + PLANISH_EIGHT <= count; at += PLANISH_EIGHT) {
    const PlanishEightParts a = planish_eight_parts(spectrum + at);
    const PlanishEightParts b = planish_eight_parts_down(mirrored - at);
    planish_eight_store(powers + at,
                        0.5F * (a.re * a.re + a.im * a.im + b.re * b.re + b.im * b.im));
  }
}

void planish_spectral_engine_powers(const PlanishSpectralEngine *engine, float *restrict powers,
                                    uint32_t from, uint32_t to)
{
  uint32_t k = from;
  /* Bin 0 is its own mirror image. */
  if (k == 0 && to > 0) {
    powers[0] = planish_spectral_engine_power(engine, 0);
    k = 1;
  }
  const uint32_t whole = (to - k) / PLANISH_EIGHT * PLANISH_EIGHT;
  const PlanishComplex *const mirrored = engine->spectrum + (engine->length - k);
  find_powers(engine->spectrum + k, mirrored, powers + (k - from), whole);
  for (k += whole; k < to; ++k) {
    powers[k - from] = planish_spectral_engine_power(engine, k);
  }
}

/* Their mirror images are conjugate, and lie the other way round. mirrored: that of the first. */
PLANISH_WIDE static void lay_fours(PlanishComplex *bins, PlanishComplex *mirrored,
                                   const PlanishComplex *gains, uint32_t count)
{
  const PlanishComplexFour conjugate = {1.0F, -1.0F, 1.0F, -1.0F, 1.0F, -1.0F, 1.0F, -1.0F};
  for (uint32_t at = 0; at + 4 <= count; at += 4) {
    const PlanishEight g = planish_eight_load(gains + at);
    planish_eight_store(bins + at, g);
    planish_eight_store(mirrored - at - 3,
                        __builtin_shufflevector(g, g, 6, 7, 4, 5, 2, 3, 0, 1) * conjugate);
  }
}

void planish_spectral_path_lay_all(const PlanishSpectralPath *path, uint32_t length,
                                   const PlanishComplex *gains, uint32_t from, uint32_t to)
{
  uint32_t k = from;
  /* Both ends are their own mirror images. */
  if (k == 0 && to > 0) {
    planish_spectral_path_lay(path, length, 0, gains[0]);
    k = 1;
  }
  const uint32_t end = to > length / 2 ? length / 2 : to;
  const uint32_t whole = end > k ? (end - k) / 4 * 4 : 0;
  lay_fours(path->gains + k, path->gains + (length - k), gains + (k - from), whole);
  for (k += whole; k < to; ++k) {
    planish_spectral_path_lay(path, length, k, gains[k - from]);
  }
}
