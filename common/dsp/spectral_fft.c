#include "common/dsp/spectral_fft.h"

#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <stdbool.h>
#include <stddef.h>

typedef PlanishComplexFour Four;

/* e^(-2 pi i j k / length) for k in 0..count-1, of j = 1, 2, 3. */
static void fill_turns(PlanishComplex *turns, uint32_t count, uint32_t length)
{
  for (uint32_t j = 1; j <= 3; ++j) {
    for (uint32_t k = 0; k < count; ++k) {
      const double turn = (double)(j * k) / (double)length;
      const PlanishSineCosine at = planish_sine_cosine(2.0 * PLANISH_PI * turn);
      turns[(j - 1) * count + k] = (PlanishComplex){(float)at.cosine, (float)-at.sine};
    }
  }
}

PlanishStatus planish_spectral_fft_setup(PlanishSpectralFft *fft, PlanishArena *arena,
                                         uint32_t length)
{
  fft->length = length;
  fft->row = length / PLANISH_FFT_ROWS;
  fft->inner_turns = planish_arena_take(arena, 3 * (size_t)fft->row, sizeof(PlanishComplex));
  fft->outer_turns = planish_arena_take(arena, 3 * (size_t)(length / 4), sizeof(PlanishComplex));
  if (!planish_arena_is_filling(arena)) {
    return PLANISH_OK;
  }
  /* Any two aligned buffers will do to plan with. */
  const PlanishStatus status =
      planish_spectral_plan_setup(&fft->plan, fft->row, fft->inner_turns, fft->outer_turns);
  fill_turns(fft->inner_turns, fft->row, length / 4);
  fill_turns(fft->outer_turns, length / 4, length);
  return status;
}

void planish_spectral_fft_release(PlanishSpectralFft *fft)
{
  planish_spectral_plan_release(&fft->plan);
}

void planish_spectral_fft_forward_row(const PlanishSpectralFft *fft, const PlanishComplex *samples,
                                      PlanishComplex *spectrum, uint32_t row)
{
  planish_spectral_plan_forward(&fft->plan, samples, spectrum + (size_t)row * fft->row);
}

void planish_spectral_fft_backward_row(const PlanishSpectralFft *fft,
                                       const PlanishComplex *spectrum, PlanishComplex *samples,
                                       uint32_t row)
{
  planish_spectral_plan_backward(&fft->plan, spectrum + (size_t)row * fft->row, samples);
}

/* One stretch of a pass over four neighbouring blocks of `quarter` bins each. */
typedef struct {
  Four *x[4];
  const Four *turns[3];
  uint32_t fours;
} Stretch;

/* Part 0..15 of a pass works a sixteenth of it: of the inner pass, a quarter of one of the four
 * groups of rows. */
static Stretch stretch_of(const PlanishSpectralFft *fft, PlanishComplex *spectrum, bool outer,
                          uint32_t part)
{
  const uint32_t quarter = outer ? fft->length / 4 : fft->row;
  const uint32_t bins = fft->row / 4;
  const uint32_t from = outer ? part * bins : part % 4 * bins;
  const PlanishComplex *turns = outer ? fft->outer_turns : fft->inner_turns;
  PlanishComplex *x = spectrum + (outer ? 0 : part / 4 * (fft->length / 4)) + from;
  return (Stretch){
      .x = {(Four *)x, (Four *)(x + quarter), (Four *)(x + 2 * (size_t)quarter),
            (Four *)(x + 3 * (size_t)quarter)},
      .turns = {(const Four *)(turns + from), (const Four *)(turns + quarter + from),
                (const Four *)(turns + 2 * (size_t)quarter + from)},
      .fours = bins / 4,
  };
}

PLANISH_WIDE void planish_spectral_fft_forward_part(const PlanishSpectralFft *fft,
                                                    PlanishComplex *spectrum, uint32_t part)
{
  const Stretch s = stretch_of(fft, spectrum, part >= 16, part % 16);
  for (uint32_t k = 0; k < s.fours; ++k) {
    const Four a = s.x[0][k];
    const Four b = planish_four_times(s.x[1][k], s.turns[0][k]);
    const Four c = planish_four_times(s.x[2][k], s.turns[1][k]);
    const Four d = planish_four_times(s.x[3][k], s.turns[2][k]);
    const Four even = a + c;
    const Four odd = a - c;
    const Four sum = b + d;
    const Four turned = planish_four_turned(b - d);
    s.x[0][k] = even + sum;
    s.x[1][k] = odd - turned;
    s.x[2][k] = even - sum;
    s.x[3][k] = odd + turned;
  }
}

/* The butterfly of the way back, its results turned. */
PLANISH_INLINED void put_back(const Stretch *s, uint32_t k, Four a, Four b, Four c, Four d)
{
  const Four even = a + c;
  const Four odd = a - c;
  const Four sum = b + d;
  const Four turned = planish_four_turned(b - d);
  s->x[0][k] = even + sum;
  s->x[1][k] = planish_four_over(odd + turned, s->turns[0][k]);
  s->x[2][k] = planish_four_over(even - sum, s->turns[1][k]);
  s->x[3][k] = planish_four_over(odd - turned, s->turns[2][k]);
}

PLANISH_WIDE void planish_spectral_fft_backward_part(const PlanishSpectralFft *fft,
                                                     PlanishComplex *spectrum,
                                                     const PlanishComplex *gains, uint32_t part)
{
  const Stretch s = stretch_of(fft, spectrum, part < 16, part % 16);
  if (part >= 16 || gains == NULL) {
    for (uint32_t k = 0; k < s.fours; ++k) {
      put_back(&s, k, s.x[0][k], s.x[1][k], s.x[2][k], s.x[3][k]);
    }
    return;
  }
  const size_t quarter = fft->length / 4;
  const PlanishComplex *const from = gains + (size_t)part * (fft->row / 4);
  const Four *const g[4] = {(const Four *)from, (const Four *)(from + quarter),
                            (const Four *)(from + 2 * quarter), (const Four *)(from + 3 * quarter)};
  for (uint32_t k = 0; k < s.fours; ++k) {
    put_back(&s, k, planish_four_times(s.x[0][k], g[0][k]), planish_four_times(s.x[1][k], g[1][k]),
             planish_four_times(s.x[2][k], g[2][k]), planish_four_times(s.x[3][k], g[3][k]));
  }
}

/* The gains of four bins whose mirror images end before `end`: they lie the other way round. */
PLANISH_INLINED PlanishFourFloats mirrored(const float *end)
{
  const PlanishFourFloats up = planish_four_floats_load(end - 4);
  return __builtin_shufflevector(up, up, 3, 2, 1, 0);
}

PLANISH_WIDE void planish_spectral_fft_backward_real(const PlanishSpectralFft *fft,
                                                     PlanishComplex *spectrum, const float *gains,
                                                     uint32_t part)
{
  const Stretch s = stretch_of(fft, spectrum, true, part);
  const size_t quarter = fft->length / 4;
  const size_t first = (size_t)part * (fft->row / 4);
  const PlanishFourFloats *const g[2] = {(const PlanishFourFloats *)(gains + first),
                                         (const PlanishFourFloats *)(gains + quarter + first)};
  /* The image of bin k is length - k. */
  const float *const end[2] = {gains + 2 * quarter - first + 1, gains + quarter - first + 1};
  for (uint32_t k = 0; k < s.fours; ++k) {
    const size_t on = 4 * (size_t)k;
    put_back(&s, k, planish_four_scaled(s.x[0][k], g[0][k]),
             planish_four_scaled(s.x[1][k], g[1][k]),
             planish_four_scaled(s.x[2][k], mirrored(end[0] - on)),
             planish_four_scaled(s.x[3][k], mirrored(end[1] - on)));
  }
}
