/* A complex number of the spectral engine, and four of them in one register.
 *
 * Spectra are single precision: the transforms cost half, and what the engine adds to the sound is
 * a difference, whose own round-off lies 130 dB under it. GCC 12 leaves interleaved complex
 * products scalar at -O3, so that the passes of the transform use the compiler's vector type, which
 * becomes two registers where a processor has no wide ones.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_SPECTRAL_COMPLEX_H
#define PLANISH_DSP_SPECTRAL_COMPLEX_H

typedef struct {
  float re;
  float im;
} PlanishComplex;

/* re, im, re, im, ... Lies over any four neighbouring PlanishComplex on a boundary of 32 bytes. */
typedef float PlanishComplexFour __attribute__((vector_size(32), may_alias));

typedef float PlanishFourFloats __attribute__((vector_size(16), may_alias));

/* Wide vectors pass otherwise where there are no wide registers; these never pass between
 * functions: all is inlined. */
#define PLANISH_INLINED static inline __attribute__((always_inline))

/* re and im of each change places. */
PLANISH_INLINED PlanishComplexFour planish_four_crossed(PlanishComplexFour a)
{
  return __builtin_shufflevector(a, a, 1, 0, 3, 2, 5, 4, 7, 6);
}

PLANISH_INLINED PlanishComplexFour planish_four_times(PlanishComplexFour a, PlanishComplexFour b)
{
  const PlanishComplexFour re = __builtin_shufflevector(b, b, 0, 0, 2, 2, 4, 4, 6, 6);
  const PlanishComplexFour im = __builtin_shufflevector(b, b, 1, 1, 3, 3, 5, 5, 7, 7);
  const PlanishComplexFour sign = {-1.0F, 1.0F, -1.0F, 1.0F, -1.0F, 1.0F, -1.0F, 1.0F};
  return a * re + planish_four_crossed(a) * im * sign;
}

/* a times the conjugate of b. */
PLANISH_INLINED PlanishComplexFour planish_four_over(PlanishComplexFour a, PlanishComplexFour b)
{
  const PlanishComplexFour re = __builtin_shufflevector(b, b, 0, 0, 2, 2, 4, 4, 6, 6);
  const PlanishComplexFour im = __builtin_shufflevector(b, b, 1, 1, 3, 3, 5, 5, 7, 7);
  const PlanishComplexFour sign = {1.0F, -1.0F, 1.0F, -1.0F, 1.0F, -1.0F, 1.0F, -1.0F};
  return a * re + planish_four_crossed(a) * im * sign;
}

/* i times a. */
PLANISH_INLINED PlanishComplexFour planish_four_turned(PlanishComplexFour a)
{
  const PlanishComplexFour sign = {-1.0F, 1.0F, -1.0F, 1.0F, -1.0F, 1.0F, -1.0F, 1.0F};
  return planish_four_crossed(a) * sign;
}

/* Each times a real number of its own. */
PLANISH_INLINED PlanishComplexFour planish_four_scaled(PlanishComplexFour a, PlanishFourFloats by)
{
  return a * __builtin_shufflevector(by, by, 0, 0, 1, 1, 2, 2, 3, 3);
}

#endif
