/* The inner band of a signal and its true peak.
 *
 * The inner band is everything up to 0.91 of half the rate (20.07 kHz at 44.1 kHz); by half the
 * rate it is down by 70 dB. What lies between, the top of the band, has no true peak that a filter
 * of any practical length can tell; of the inner band one filter tells both the frames and the
 * points between them, without images: a windowed sinc whose stop band begins at half the rate,
 * where the usual interpolator is down by 6 dB only. It gives four points a frame (interpolator.h),
 * and a sinusoid is laid through every local extremum.
 *
 * Frame n owns the time from half a frame before it to half a frame after it.
 *
 * Worked on in blocks: first the points of all frames, then the peaks, for which it can be said
 * from which size on they matter.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_INNER_PEAK_H
#define PLANISH_DSP_INNER_PEAK_H

#include "common/dsp/arena.h"
#include "common/dsp/glide.h"

#include <stdbool.h>
#include <stdint.h>

#define PLANISH_INNER_PEAK_TAPS 104

/* Frames from a frame to its inner band and peak. */
#define PLANISH_INNER_PEAK_DELAY (PLANISH_INNER_PEAK_TAPS / 2)

enum { PLANISH_INNER_PEAK_PHASES = 4 };

typedef struct {
  double *past;                              /* TAPS - 1 frames, then the block */
  double *kernel;                            /* as interpolator.h has it */
  double *points[PLANISH_INNER_PEAK_PHASES]; /* each: of the frame before the block, then of its
                                                frames */
  double gain;     /* no point is larger than this times the largest input of its span */
  uint32_t frames; /* of the block */
} PlanishInnerPeak;

void planish_inner_peak_setup(PlanishInnerPeak *peak, PlanishArena *arena);

void planish_inner_peak_reset(PlanishInnerPeak *peak);

/* Takes all of the past at once, TAPS - 1 frames, as if they had come in blocks of which nothing
 * was asked. */
void planish_inner_peak_fill(PlanishInnerPeak *peak, const double *past);

/* Takes a block of 1..PLANISH_GRID frames and finds its points. */
void planish_inner_peak_push(PlanishInnerPeak *peak, const double *audio, uint32_t frames);

/* The same, but finds the inner band alone: planish_inner_peak_peaks() must not follow, and where
 * it follows the next block, that block's first peak is not right. */
void planish_inner_peak_push_band(PlanishInnerPeak *peak, const double *audio, uint32_t frames);

/* The block's frames as they came in PLANISH_INNER_PEAK_DELAY frames ago, ... */
static inline const double *planish_inner_peak_delayed(const PlanishInnerPeak *peak)
{
  return peak->past + PLANISH_INNER_PEAK_TAPS - 1 - PLANISH_INNER_PEAK_DELAY;
}

/* ... their inner band, ... */
static inline const double *planish_inner_peak_band(const PlanishInnerPeak *peak)
{
  return peak->points[0] + 1;
}

/* ... and the true peaks (magnitudes) that they own. Of one that is at most `least` some value of
 * at most `least` is told. */
void planish_inner_peak_peaks(const PlanishInnerPeak *peak, double least, double *peaks);

/* No peak is larger than this times the largest input of the frames it was found from: those of
 * its frame's span and of the one before. */
double planish_inner_peak_most(const PlanishInnerPeak *peak);

#endif
