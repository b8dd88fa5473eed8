/* The filter with a given gain curve that shifts no phase: taps that are the same before and after
 * their middle.
 *
 * The taps are the cosine transform of the gain, sampled twice as finely as so many taps resolve,
 * in the middle of even steps: so what lies beyond the taps hardly wraps around, and the corner
 * that a gain may have at 0 Hz lies between two samples. The transform goes as a complex one of
 * half the length (Makhoul, IEEE Trans. ASSP 28, 1980, from memory): two real gain curves at once,
 * one in the real part, one in the imaginary.
 *
 * Where the response is longer than the taps it must be cut off, by a window that is nearly flat,
 *   (1 - t^32)^2,   t = -1..1 over all taps.
 * A softer one errs more on narrow bands, a steeper one on a first-order corner: a bell of 6 dB, Q
 * 2 at 30 Hz under 16384 taps at 48 kHz is 0.010 dB off, a first-order high pass there 0.009 (Tukey
 * 0.5: 0.042, 0.002; no window at all: 0.008, 0.012).
 *
 * The work is a list of tasks for a schedule (schedule.h).
 *
 * Relative error of the transform about 2e-7 rms. Buffers from the arena. Thread: one at a time.
 * All but setup and release are real-time safe. */
#ifndef PLANISH_DSP_LINEAR_PHASE_H
#define PLANISH_DSP_LINEAR_PHASE_H

#include "common/dsp/arena.h"
#include "common/dsp/schedule.h"
#include "common/dsp/spectral_complex.h"
#include "common/dsp/spectral_fft.h"
#include "common/dsp/status.h"

#include <stdint.h>

enum { PLANISH_LINEAR_PHASE_TASKS = 3 };

typedef struct {
  uint32_t length; /* taps, and gains */
  PlanishSpectralFft fft;
  PlanishComplex *spectrum;
  PlanishComplex *samples; /* a row */
  PlanishComplex *turns; /* e^(-i pi n / (2 length)) / (2 length), under the window: 0..length/2 */
} PlanishLinearPhase;

/* A pair of curves, and where their taps go. */
typedef struct {
  PlanishLinearPhase *phase;
  const PlanishComplex *gains; /* in: `length`, at (k + 1/2) / length of half the rate */
  PlanishComplex *taps;        /* out: `length`, the middle at length / 2, the first one 0 */
} PlanishLinearCurves;

/* `length` is a power of two from PLANISH_FFT_SHORTEST on. PLANISH_NO_MEMORY where there is no
 * plan. */
PlanishStatus planish_linear_phase_setup(PlanishLinearPhase *phase, PlanishArena *arena,
                                         uint32_t length);

/* Writes PLANISH_LINEAR_PHASE_TASKS tasks, which turn gains into taps, done in order. Curves that
 * share a phase go one after the other. Costs are in the unit of PLANISH_FFT_ROW_COST for the
 * transforms of `unit` points that the rest of the schedule is made of. Returns their count. */
uint32_t planish_linear_phase_tasks(PlanishLinearCurves *curves, uint32_t unit, PlanishTask *tasks);

/* Fine on zeros, and twice. */
void planish_linear_phase_release(PlanishLinearPhase *phase);

#endif
