#include "common/dsp/linear_phase.h"

#include "common/dsp/maths.h"
#include "common/dsp/trig.h"

enum { PARTS = 32 };

/* Even samples upwards, then odd ones downwards. */
static void take_row(void *context, uint32_t row)
{
  const PlanishLinearCurves *const curves = context;
  PlanishLinearPhase *const phase = curves->phase;
  const uint32_t first = planish_spectral_fft_first(row);
  const uint32_t middle = phase->fft.row / 2;
  const uint32_t step = 2 * PLANISH_FFT_ROWS;
  const PlanishComplex *const rising = curves->gains + (size_t)2 * first;
  const PlanishComplex *const falling = curves->gains + phase->length - 1 - (size_t)2 * first;
  for (uint32_t n = 0; n < middle; ++n) {
    phase->samples[n] = rising[(size_t)n * step];
    phase->samples[middle + n] = *(falling - (size_t)n * step);
  }
  planish_spectral_fft_forward_row(&phase->fft, phase->samples, phase->spectrum, row);
}

static void forward_part(void *context, uint32_t part)
{
  const PlanishLinearCurves *const curves = context;
  planish_spectral_fft_forward_part(&curves->phase->fft, curves->phase->spectrum, part);
}

/* Bins n and length - n, turned towards one another, are tap n both ways from the middle. */
static void lay_taps(void *context, uint32_t part)
{
  const PlanishLinearCurves *const curves = context;
  const PlanishLinearPhase *const phase = curves->phase;
  const uint32_t middle = phase->length / 2;
  const uint32_t share = middle / PARTS;
  for (uint32_t n = part * share; n < (part + 1) * share; ++n) {
    const PlanishComplex a = phase->spectrum[n];
    const PlanishComplex b = phase->spectrum[(phase->length - n) & (phase->length - 1)];
    const PlanishComplex turn = phase->turns[n];
    const PlanishComplex tap = {
        turn.re * (a.re + b.re) - turn.im * (a.im - b.im),
        turn.re * (a.im + b.im) + turn.im * (a.re - b.re),
    };
    curves->taps[middle + n] = tap;
    curves->taps[middle - n] = tap;
  }
  if (part == 0) {
    curves->taps[0] = (PlanishComplex){0.0F, 0.0F};
  }
}

static double window_at(double t)
{
  double power = t;
  for (int doubling = 0; doubling < 5; ++doubling) {
    power *= power;
  }
  return (1.0 - power) * (1.0 - power);
}

PlanishStatus planish_linear_phase_setup(PlanishLinearPhase *phase, PlanishArena *arena,
                                         uint32_t length)
{
  const uint32_t middle = length / 2;
  phase->length = length;
  phase->spectrum = planish_arena_take(arena, length, sizeof *phase->spectrum);
  phase->samples = planish_arena_take(arena, length / PLANISH_FFT_ROWS, sizeof *phase->samples);
  phase->turns = planish_arena_take(arena, middle, sizeof *phase->turns);
  for (uint32_t n = 0; n < middle && planish_arena_is_filling(arena); ++n) {
    const PlanishSineCosine at = planish_sine_cosine(PLANISH_PI * n / (2.0 * length));
    const double scale = window_at((double)n / middle) / (2.0 * length);
    phase->turns[n] = (PlanishComplex){(float)(scale * at.cosine), (float)(-scale * at.sine)};
  }
  return planish_spectral_fft_setup(&phase->fft, arena, length);
}

uint32_t planish_linear_phase_tasks(PlanishLinearCurves *curves, uint32_t unit, PlanishTask *tasks)
{
  const uint32_t times = curves->phase->length / unit;
  /* Measured beside rows of an eighth of the length: long rows, gathered from afar, cost more. */
  tasks[0] = (PlanishTask){take_row, curves, PLANISH_FFT_ROWS, 17 * times};
  tasks[1] = (PlanishTask){forward_part, curves, PLANISH_FFT_PARTS, 5 * times / 2};
  tasks[2] = (PlanishTask){lay_taps, curves, PARTS, 4 * times};
  return PLANISH_LINEAR_PHASE_TASKS;
}

void planish_linear_phase_release(PlanishLinearPhase *phase)
{
  planish_spectral_fft_release(&phase->fft);
}
