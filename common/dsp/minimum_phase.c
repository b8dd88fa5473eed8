#include "common/dsp/minimum_phase.h"

#include "common/dsp/spectral_maths.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"

#include <string.h>

/* Of the bins; and from one sample of a row to the next, two real ones each. */
enum { PARTS = 16, STEP = 2 * PLANISH_FFT_ROWS };

/* A part of bins 0..half. */
typedef struct {
  uint32_t from;
  uint32_t to;
} Range;

static Range range_of(const PlanishMinimumPhase *phase, uint32_t part)
{
  const uint32_t half = phase->fft.length;
  const uint32_t bins = half / PARTS;
  return (Range){part * bins, part == PARTS - 1 ? half + 1 : (part + 1) * bins};
}

/* The spectrum with its first bin again behind the last. */
static const PlanishComplex *closed(PlanishMinimumPhase *phase)
{
  phase->spectrum[phase->fft.length] = phase->spectrum[0];
  return phase->spectrum;
}

/* Of two neighbouring real samples one complex one: the logarithm, even about both ends. */
static void take_logarithm(void *context, uint32_t row)
{
  PlanishMinimumPhase *const phase = context;
  const uint32_t half = phase->fft.length;
  const uint32_t middle = phase->fft.row / 2;
  const uint32_t first = 2 * planish_spectral_fft_first(row);
  const float *const rising = phase->log_gain + first;
  const float *const falling = phase->log_gain + half - first;
  for (uint32_t n = 0; n < middle; ++n) {
    const float *const x = rising + (size_t)n * STEP;
    phase->samples[n] = (PlanishComplex){x[0], x[1]};
  }
  for (uint32_t n = 0; n < middle; ++n) {
    const float *const x = falling - (size_t)n * STEP;
    phase->samples[middle + n] = (PlanishComplex){x[0], x[-1]};
  }
  planish_spectral_fft_forward_row(&phase->fft, phase->samples, phase->spectrum, row);
}

static void forward_part(void *context, uint32_t part)
{
  PlanishMinimumPhase *const phase = context;
  planish_spectral_fft_forward_part(&phase->fft, phase->spectrum, part);
}

/* Of one bin of the long transform, or of eight: twice the real part and the imaginary one, from
 * bins a = k and b = half - k of the short transform and the turn between its two halves. */
#define REAL_PART(a, b, turn)                                                                      \
  ((a).re + (b).re + (turn).re * ((a).im + (b).im) - (turn).im * ((a).re - (b).re))
#define IMAGINARY_PART(a, b, turn)                                                                 \
  ((a).im - (b).im - (turn).re * ((a).re - (b).re) - (turn).im * ((a).im + (b).im))

/* The same sum as the real part, in the order that folding has. */
#define FOLDED(a, b, turn)                                                                         \
  ((a).re + (b).re + ((turn).re * ((a).im + (b).im) - (turn).im * ((a).re - (b).re)))

/* The real part of the long transform, from the two half-length ones that lie in one another; what
 * lies before time zero is folded over, and what lies too late fades out. */
PLANISH_WIDE static void fold(void *context, uint32_t part)
{
  PlanishMinimumPhase *const phase = context;
  const uint32_t half = phase->fft.length;
  const Range range = range_of(phase, part);
  const PlanishComplex *const spectrum = closed(phase);
  const PlanishComplex *const turns = phase->turns;
  float *restrict const cepstrum = phase->cepstrum;
  const float *const lifter = phase->lifter;
  uint32_t k = range.from;
  for (; k + PLANISH_EIGHT <= range.to; k += PLANISH_EIGHT) {
    const PlanishEightParts a = planish_eight_parts(spectrum + k);
    const PlanishEightParts b = planish_eight_parts_down(spectrum + (half - k));
    const PlanishEightParts turn = planish_eight_parts(turns + k);
    planish_eight_store(cepstrum + k, FOLDED(a, b, turn) * planish_eight_load(lifter + k));
  }
  for (; k < range.to; ++k) {
    cepstrum[k] = FOLDED(spectrum[k], spectrum[half - k], turns[k]) * lifter[k];
  }
}

/* The folded cepstrum; after time half there is nothing. */
static void take_cepstrum(void *context, uint32_t row)
{
  PlanishMinimumPhase *const phase = context;
  const uint32_t middle = phase->fft.row / 2;
  const float *const folded = phase->cepstrum + 2 * (size_t)planish_spectral_fft_first(row);
  for (uint32_t n = 0; n < middle; ++n) {
    const float *const x = folded + (size_t)n * STEP;
    phase->samples[n] = (PlanishComplex){x[0], x[1]};
  }
  memset(phase->samples + middle, 0, middle * sizeof *phase->samples);
  planish_spectral_fft_forward_row(&phase->fft, phase->samples, phase->spectrum, row);
}

/* The long transform is the logarithm of the gain, its imaginary part the phase, which takes the
 * cepstrum's place. */
PLANISH_WIDE static void make_angle(void *context, uint32_t part)
{
  PlanishMinimumPhase *const phase = context;
  const uint32_t half = phase->fft.length;
  const Range range = range_of(phase, part);
  const PlanishComplex *const spectrum = closed(phase);
  const PlanishComplex *const turns = phase->turns;
  float *restrict const angle = phase->cepstrum;
  float *restrict const log_gain = phase->log_gain;
  const float in_radians = 0.5F * 0.6931471806F;
  uint32_t k = range.from;
  for (; k + PLANISH_EIGHT <= range.to; k += PLANISH_EIGHT) {
    const PlanishEightParts a = planish_eight_parts(spectrum + k);
    const PlanishEightParts b = planish_eight_parts_down(spectrum + (half - k));
    const PlanishEightParts turn = planish_eight_parts(turns + k);
    planish_eight_store(log_gain + k, 0.5F * REAL_PART(a, b, turn));
    planish_eight_store(angle + k, in_radians * IMAGINARY_PART(a, b, turn));
  }
  for (; k < range.to; ++k) {
    const PlanishComplex a = spectrum[k];
    const PlanishComplex b = spectrum[half - k];
    log_gain[k] = 0.5F * REAL_PART(a, b, turns[k]);
    angle[k] = in_radians * IMAGINARY_PART(a, b, turns[k]);
  }
  /* That of bin 0 has come out 0: a and b are the same there, and the turn is none. */
  if (part == PARTS - 1) {
    angle[half] = 0.0F;
  }
}

/* Magnitude and phase make the gain. */
PLANISH_WIDE static void make_gain(void *context, uint32_t part)
{
  PlanishMinimumPhase *const phase = context;
  const Range range = range_of(phase, part);
  const float *const angle = phase->cepstrum;
  const float *const log_gain = phase->log_gain;
  PlanishComplex *restrict const added = phase->added;
  for (uint32_t k = range.from; k < range.to; ++k) {
    const float gain = planish_exp2f(log_gain[k]);
    const PlanishSineCosineF at = planish_sine_cosinef(angle[k]);
    added[k].re = gain * at.cosine - 1.0F;
    added[k].im = gain * at.sine;
  }
}

/* Bohman's lag window (1960, from memory) at a share x of the reach. */
static double fade(double x)
{
  if (x >= 1.0) {
    return 0.0;
  }
  const PlanishSineCosine at = planish_sine_cosine(PLANISH_PI * x);
  return (1.0 - x) * at.cosine + at.sine / PLANISH_PI;
}

PlanishStatus planish_minimum_phase_setup(PlanishMinimumPhase *phase, PlanishArena *arena,
                                          uint32_t length, double reach)
{
  const uint32_t half = length / 2;
  phase->length = length;
  phase->log_gain = planish_arena_take(arena, half + 1, sizeof *phase->log_gain);
  phase->added = planish_arena_take(arena, half + 1, sizeof *phase->added);
  phase->spectrum = planish_arena_take(arena, half + 1, sizeof *phase->spectrum);
  phase->samples = planish_arena_take(arena, half / PLANISH_FFT_ROWS, sizeof *phase->samples);
  phase->turns = planish_arena_take(arena, half + 1, sizeof *phase->turns);
  phase->cepstrum = planish_arena_take(arena, half + 1, sizeof *phase->cepstrum);
  phase->lifter = planish_arena_take(arena, half + 1, sizeof *phase->lifter);
  const PlanishStatus status = planish_spectral_fft_setup(&phase->fft, arena, half);
  for (uint32_t k = 0; k <= half && planish_arena_is_filling(arena); ++k) {
    const PlanishSineCosine at = planish_sine_cosine(2.0 * PLANISH_PI * k / (double)length);
    phase->turns[k] = (PlanishComplex){(float)at.cosine, (float)at.sine};
    /* 2 / length for what is folded, half of that at time zero, and half for the sum of two. */
    const double scale = (k == 0 ? 0.5 : 1.0) / (double)length;
    const double late = (double)k / ((double)length * reach);
    phase->lifter[k] = (float)(scale * (reach < 0.5 ? fade(late) : 1.0));
  }
  return status;
}

uint32_t planish_minimum_phase_tasks(PlanishMinimumPhase *phase, PlanishTask *tasks)
{
  /* Measured beside those of the transform; half the length costs a little over half. */
  tasks[0] = (PlanishTask){take_logarithm, phase, PLANISH_FFT_ROWS, 7};
  tasks[1] = (PlanishTask){forward_part, phase, PLANISH_FFT_PARTS, 2};
  tasks[2] = (PlanishTask){fold, phase, PARTS, 2};
  tasks[3] = (PlanishTask){take_cepstrum, phase, PLANISH_FFT_ROWS, 6};
  tasks[4] = (PlanishTask){forward_part, phase, PLANISH_FFT_PARTS, 2};
  tasks[5] = (PlanishTask){make_angle, phase, PARTS, 3};
  tasks[6] = (PlanishTask){make_gain, phase, PARTS, 10};
  return PLANISH_MINIMUM_PHASE_TASKS;
}

void planish_minimum_phase_release(PlanishMinimumPhase *phase)
{
  planish_spectral_fft_release(&phase->fft);
}
