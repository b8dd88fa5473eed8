/* Sample rate up and down by 2, 4, 8 or 16 with linear-phase FIR filters, for non-linear stages.
 *
 * Both filters are a sinc under a Kaiser window (Kaiser 1974), PLANISH_OVERSAMPLER_TAPS frames
 * long, cut a little under half the rate, cut into `ratio` phases. Each phase sums to 1 (down:
 * 1/ratio), so that a constant stays the constant it was and its images are nil.
 *
 * Meant for residues: a stage works out what it takes away at the high rate, brings down only
 * that, and subtracts it from the input delayed by PLANISH_OVERSAMPLER_DELAY frames. Then whatever
 * the stage leaves alone passes no filter and keeps its bits; and where the residue is 0, no
 * work is done and the bits are the same as if it were.
 *
 * This is the form that takes a frame at a time, for what needs each result before the next frame;
 * block_oversampler.h does the same work on blocks for less.
 *
 * Thread: one at a time for a PlanishDecimator; a PlanishOversampler is constant after set-up and
 * may be shared. All but set-up is real-time safe. */
#ifndef PLANISH_DSP_OVERSAMPLER_H
#define PLANISH_DSP_OVERSAMPLER_H

#include "common/dsp/arena.h"

#include <stdint.h>

/* Frames that a phase of either filter spans. */
#define PLANISH_OVERSAMPLER_TAPS 32

/* Frames from input to result of up followed by down, at every ratio: 16 up, 15 down. */
#define PLANISH_OVERSAMPLER_DELAY (PLANISH_OVERSAMPLER_TAPS - 1)

#define PLANISH_OVERSAMPLER_MAX_RATIO 16

/* The coefficients. */
typedef struct {
  double *up;       /* [taps][ratio], for the oldest frame first */
  double *down;     /* the same */
  double peak_gain; /* no fine sample is larger than this times the largest input of its span */
  uint32_t ratio;
} PlanishOversampler;

/* The past of one channel at the high rate. */
typedef struct {
  double *fine;     /* [2][taps][ratio], a ring of frames, twice over */
  uint32_t at;      /* the newest frame's place */
  uint32_t present; /* bit taps - 1 - k: the frame k frames ago was not all 0 */
} PlanishDecimator;

/* Ratio 2, 4, 8 or 16. `shift`, in high-rate samples, delays what the decimator is given: with -0.5
 * it takes its input to lie half a sample earlier than it comes, which takes out the delay of
 * first-order antiderivative antialiasing. |shift| <= 1. */
void planish_oversampler_setup(PlanishOversampler *filters, PlanishArena *arena, uint32_t ratio,
                               double shift);

/* The coefficients alone, each [taps][ratio]. Returns the peak gain. */
double planish_oversampler_design(double *up, double *down, uint32_t ratio, double shift);

/* `ratio` fine samples of the newest frame; `past`: the last PLANISH_OVERSAMPLER_TAPS input
 * frames, oldest first. `fine`: aligned to 16 bytes; must not overlap `past`. */
void planish_oversampler_up(const PlanishOversampler *filters, const double *past, double *fine);

/* The ring is sized for any ratio. */
void planish_decimator_setup(PlanishDecimator *decimator, PlanishArena *arena);

void planish_decimator_reset(PlanishDecimator *decimator);

/* One output frame for `ratio` fine samples; NULL stands for `ratio` zeros and costs nothing once
 * the past is zeros too. A decimator must be reset before it is used at another ratio. */
double planish_decimator_process(PlanishDecimator *decimator, const PlanishOversampler *filters,
                                 const double *fine);

#endif
