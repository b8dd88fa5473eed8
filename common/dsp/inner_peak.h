/* The inner band of a signal and its true peak.
 *
 * The inner band is everything up to 0.91 of half the rate (20.07 kHz at 44.1 kHz); by half the
 * rate it is down by 70 dB. What lies between, the top of the band, has no true peak that a filter
 * of any practical length can tell; of the inner band one filter tells both the frames and the
 * points between them, without images: a windowed sinc whose stop band begins at half the rate,
 * where the usual interpolator is down by 6 dB only. It gives four points a frame, and a parabola
 * is laid through every local extremum.
 *
 * Frame n owns the time from half a frame before it to half a frame after it.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_INNER_PEAK_H
#define PLANISH_DSP_INNER_PEAK_H

#include "common/dsp/arena.h"

#include <stdint.h>

#define PLANISH_INNER_PEAK_TAPS 104

/* Frames from a frame to its inner band and peak. */
#define PLANISH_INNER_PEAK_DELAY (PLANISH_INNER_PEAK_TAPS / 2)

typedef struct {
  double *past;   /* the last frames, twice over, so that they always lie in one piece */
  double *kernel; /* [taps][4], for the oldest frame first */
  uint32_t at;
  double before[3];   /* the last three fine points of the frame before */
  double before_peak; /* the peak at the middle one of them */
} PlanishInnerPeak;

void planish_inner_peak_setup(PlanishInnerPeak *peak, PlanishArena *arena);

void planish_inner_peak_reset(PlanishInnerPeak *peak);

/* Takes a frame. Returns the true peak (a magnitude) owned by the frame that came
 * PLANISH_INNER_PEAK_DELAY frames ago, and sets *inner to that frame's inner band. */
double planish_inner_peak_next(PlanishInnerPeak *peak, double x, double *inner);

#endif
