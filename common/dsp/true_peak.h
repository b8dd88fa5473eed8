/* True peak of a stream: the largest magnitude between the frames as well as on them.
 *
 * The signal is interpolated four times by FIR filters (the first of the four phases is the sample
 * itself), and a parabola is laid through every local extremum of that fine grid. Frame n owns the
 * time from half a frame before it to half a frame after it; an extremum between two frames counts
 * for both. ITU-R BS.1770-4 Annex 2 describes the principle; its 12 taps a phase and plain grid
 * miss by more than this does.
 *
 * The peak is within 0.05 dB of the ideal reconstruction for content up to 20 kHz at 44.1 kHz and
 * above, with 48 taps a phase or more. Between there and half the rate any such filter goes blind
 * by and by, later with more taps: on loud mixes 48 taps miss up to 0.3 dB, 96 up to 0.1 dB, 512 up
 * to 0.02 dB.
 *
 * A long filter (over PLANISH_TRUE_PEAK_TAPS) finds the points half way alone (half_points.h); the
 * quarters lie between those and the frames, and a short filter is as exact there. That is the
 * usual way of interpolating by four in two steps.
 *
 * The filter runs in single precision (about 1e-6 relative), eight frames at a time, in a fixed
 * order: the same frames give the same bits whatever the block split.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_TRUE_PEAK_H
#define PLANISH_DSP_TRUE_PEAK_H

#include "common/dsp/arena.h"
#include "common/dsp/half_points.h"

#include <stdint.h>

/* Taps a phase where a ceiling depends on it, where a reading is enough or latency is short, and
 * where latency does not matter: the most there can be. */
#define PLANISH_TRUE_PEAK_TAPS       96
#define PLANISH_TRUE_PEAK_SHORT_TAPS 48
#define PLANISH_TRUE_PEAK_LONG_TAPS  512

/* Points on either side that the quarters are found from by long filters. */
#define PLANISH_TRUE_PEAK_BETWEEN 12

typedef struct {
  float *past;   /* from `at` on the last taps - 1 frames, then room for a chunk */
  float *kernel; /* of a short filter, per pair of taps: even and odd part of the quarter phase,
                    half phase */
  PlanishHalfPoints half_points;            /* of a long one */
  float *halves;                            /* likewise: those of the last frames */
  float between[PLANISH_TRUE_PEAK_BETWEEN]; /* likewise: from frames and halves to the quarters,
                                               nearest first */
  uint32_t kept_halves;
  uint32_t taps;
  uint32_t at;
  float last_three_quarters; /* what the frame before left behind: its point at 3/4, ... */
  float last_half_peak;      /* ... its peak near 1/2 */
  float last_late_peak;      /* ... and its peak near 3/4 */
} PlanishTruePeak;

/* `taps` a phase: even, 8..PLANISH_TRUE_PEAK_LONG_TAPS. */
void planish_true_peak_setup(PlanishTruePeak *detector, PlanishArena *arena, uint32_t taps);

void planish_true_peak_reset(PlanishTruePeak *detector);

/* Frames between a frame and its peak: taps / 2. */
static inline uint32_t planish_true_peak_delay(uint32_t taps)
{
  return taps / 2;
}

/* peaks[i]: the peak (a magnitude, not dB) owned by the frame that came in
 * planish_true_peak_delay() frames before audio[i]. Any count of frames. `peaks` may be `audio`. */
void planish_true_peak_process(PlanishTruePeak *detector, const double *audio, double *peaks,
                               uint32_t frames);

#endif
