/* Logarithm, power of two, sine and cosine in single precision, for gain laws that run over every
 * bin of every hop: + - * / and whole numbers alone, so that compilers turn loops over them into
 * vectors and every processor gives the same bits. Beside maths.h, which is for what needs double.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_SPECTRAL_MATHS_H
#define PLANISH_DSP_SPECTRAL_MATHS_H

#include <stdint.h>
#include <string.h>

/* log2(x) for normal x > 0. Absolute error <= 2e-7 near 1, relative 1.2e-7 elsewhere (0.000001 dB
 * of a level). */
static inline float planish_log2f(float x)
{
  int32_t bits;
  memcpy(&bits, &x, sizeof bits);
  /* Split so that the mantissa lies within sqrt(1/2) .. sqrt(2). */
  const int32_t exponent = (bits - 0x3f3504f3) >> 23;
  bits -= exponent * (1 << 23);
  float m;
  memcpy(&m, &bits, sizeof m);
  const float s = (m - 1.0F) / (m + 1.0F); /* |s| <= 0.1716 */
  const float z = s * s;
  /* atanh(s) 2 / ln 2; the first term left out is under 5e-8. */
  float p = 0.4121985832F;
  p = p * z + 0.5770780164F;
  p = p * z + 0.9617966939F;
  p = p * z + 2.8853900818F;
  return (float)exponent + s * p;
}

/* 2^x for |x| <= 120. Relative error <= 2e-7. Exactly 1 at 0. */
static inline float planish_exp2f(float x)
{
  /* Adding 1.5 * 2^23 leaves the nearest whole number. */
  const float whole = (x + 12582912.0F) - 12582912.0F;
  const float y = (x - whole) * 0.6931471806F; /* |y| <= 0.3466 */
  /* Taylor series of e^y; the first term left out is under 6e-9. */
  float p = 1.0F / 5040.0F;
  p = p * y + 1.0F / 720.0F;
  p = p * y + 1.0F / 120.0F;
  p = p * y + 1.0F / 24.0F;
  p = p * y + 1.0F / 6.0F;
  p = p * y + 0.5F;
  p = p * y + 1.0F;
  p = p * y + 1.0F;
  const int32_t bits = ((int32_t)whole + 127) * (1 << 23);
  float scale;
  memcpy(&scale, &bits, sizeof scale);
  return p * scale;
}

typedef struct {
  float sine;
  float cosine;
} PlanishSineCosineF;

/* Of x in radians, |x| <= 100. Absolute error <= 3e-7 for |x| <= 7, and 1e-7 |x| beyond. Exactly 0
 * and 1 at 0. */
static inline PlanishSineCosineF planish_sine_cosinef(float x)
{
  const float quarters = (x * 0.6366197724F + 12582912.0F) - 12582912.0F;
  /* pi/2 in two parts, the first of 11 bits. */
  const float y = (x - quarters * 1.5703125F) - quarters * 4.8382679e-4F;
  const float z = y * y;
  float s = -1.0F / 5040.0F;
  s = s * z + 1.0F / 120.0F;
  s = s * z - 1.0F / 6.0F;
  s = y + y * z * (s + 2.7557319e-6F * z * z * z);
  float c = 1.0F / 40320.0F - 2.7557319e-7F * z;
  c = c * z - 1.0F / 720.0F;
  c = c * z + 1.0F / 24.0F;
  c = c * z * z - 0.5F * z + 1.0F;
  const int32_t quadrant = (int32_t)quarters & 3;
  const float sine = (quadrant & 1) != 0 ? c : s;
  const float cosine = (quadrant & 1) != 0 ? s : c;
  return (PlanishSineCosineF){
      (quadrant & 2) != 0 ? -sine : sine,
      quadrant == 1 || quadrant == 2 ? -cosine : cosine,
  };
}

#endif
