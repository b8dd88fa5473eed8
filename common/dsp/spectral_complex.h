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

#include "common/dsp/eight_floats.h"

typedef struct {
  float re;
  float im;
} PlanishComplex;

/* re, im, re, im, ... Lies over any four neighbouring PlanishComplex on a boundary of 32 bytes. */
typedef float PlanishComplexFour __attribute__((vector_size(32), may_alias));

typedef float PlanishFourFloats __attribute__((vector_size(16), may_alias));

/* The same, or two complex numbers, on no boundary. */
typedef float PlanishLooseFloats __attribute__((vector_size(16), aligned(4), may_alias));

/* The real and the imaginary parts of eight, apart. */
typedef struct {
  PlanishEight re;
  PlanishEight im;
} PlanishEightParts;

PLANISH_INLINED PlanishFourFloats planish_four_floats_load(const void *from)
{
  return *(const PlanishLooseFloats *)from;
}

PLANISH_INLINED void planish_four_floats_store(void *to, PlanishFourFloats four)
{
  *(PlanishLooseFloats *)to = four;
}

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

/* Of x[0] to x[7]. */
PLANISH_INLINED PlanishEightParts planish_eight_parts(const PlanishComplex *x)
{
  const PlanishEight a = planish_eight_load(x);
  const PlanishEight b = planish_eight_load(x + PLANISH_EIGHT / 2);
  return (PlanishEightParts){__builtin_shufflevector(a, b, 0, 2, 4, 6, 8, 10, 12, 14),
                             __builtin_shufflevector(a, b, 1, 3, 5, 7, 9, 11, 13, 15)};
}

/* Of x[0], x[-1], ... x[-7]. */
PLANISH_INLINED PlanishEightParts planish_eight_parts_down(const PlanishComplex *x)
{
  const PlanishEight a = planish_eight_load(x - (PLANISH_EIGHT - 1));
  const PlanishEight b = planish_eight_load(x - (PLANISH_EIGHT / 2 - 1));
  return (PlanishEightParts){__builtin_shufflevector(a, b, 14, 12, 10, 8, 6, 4, 2, 0),
                             __builtin_shufflevector(a, b, 15, 13, 11, 9, 7, 5, 3, 1)};
}

#endif
