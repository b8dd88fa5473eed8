/* The last decibels of true peak: holds one or two channels under a ceiling that they pass by
 * little, also where they carry content right up to half the rate. Goes behind a clipper.
 *
 * A detector is blind just under half the rate, whatever its length, and a limiter that trusts it
 * lets full-band material through. Here the signal is seen as its inner band (inner_peak.h), whose
 * true peak is known, and the top of its band, whose size is. Wherever both together could pass the
 * ceiling, the top is taken out: smoothly and ahead of time where the clipper gave warning, and for
 * a while after, since an edge that cuts into a loud top makes peaks of its own. Then the gain of a
 * look-ahead limiter trims what the inner band has over the ceiling: the largest need within a
 * window, smoothed by a window of the same length (order statistics: Haemaelaeinen, DAFx-02), as
 * short as it can be, without hold or release. A longer one costs loudness and makes nothing
 * better: what is left to trim is a few tenths of a decibel of single peaks.
 *
 * Bit-exact (the delayed input) as long as inner band and top together stay under the ceiling and
 * no warning comes. Where by the size of the samples alone nothing can pass the ceiling, and
 * nothing of before is left to do, it rests: then no filter runs, and what the filters would hold
 * is made up for when work begins, with the same bits as if they had run.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_PEAK_TRIM_H
#define PLANISH_DSP_PEAK_TRIM_H

#include "common/dsp/arena.h"
#include "common/dsp/box_window.h"
#include "common/dsp/glide.h"
#include "common/dsp/inner_peak.h"
#include "common/dsp/recent_peak.h"
#include "common/dsp/sliding_max.h"

#include <stdbool.h>
#include <stdint.h>

/* Largest of a window, then the mean over a window of the same length: at frame n at least what was
 * asked for at any of the frames n - length + 1 .. n. */
typedef struct {
  PlanishSlidingMax max;
  PlanishBoxWindow window;
  uint32_t length; /* frames */
  uint32_t left;   /* frames until all that it holds is 0 */
} PlanishSmoothMax;

typedef struct {
  PlanishInnerPeak inner[2];
  PlanishSlidingMax top_size[2];
  PlanishSmoothMax reduction; /* dB */
  PlanishSmoothMax share;     /* of the top to take out */
  PlanishBoxWindow warned;    /* makes the smooth share of the top that a warning takes out */
  PlanishRecentPeak recent;   /* of all that peaks and tops are found from */
  double *delayed[2];         /* the input */
  double *top[2];             /* the top of its band */
  double *needed;             /* dB to take off */
  double *leak;               /* of the top, after it was taken out */
  double keep_leak;           /* what is left of it after a frame */
  double most;                /* peak and twice the top are never larger than this times recent */
  uint32_t length;            /* of these rings: a power of two */
  uint32_t at;
  uint32_t top_hold;      /* frames */
  uint32_t warning_ahead; /* frames from a warning to the output of what it is about */
  uint32_t warning_hold;  /* frames */
  uint32_t warned_left;   /* frames until the last warning is forgotten */
  uint32_t busy;          /* frames until nothing of before is left to do, ... */
  uint32_t forget;        /* ... and what it starts from */
  uint32_t seen;          /* frames from which peaks and sizes of tops are found */
  uint32_t made_up;       /* frames whose tops are found when a rest ends; whole grid intervals */
  bool resting;           /* `delayed` is all that is up to date */
} PlanishPeakTrim;

/* Frames between input and output: PLANISH_INNER_PEAK_DELAY + the look-ahead of 1 ms - 1. */
uint32_t planish_peak_trim_latency(double rate);

/* Rate > 0. `ahead`: how many frames after a warning the frame comes in that it is about. */
void planish_peak_trim_setup(PlanishPeakTrim *trim, PlanishArena *arena, double rate,
                             uint32_t ahead);

void planish_peak_trim_reset(PlanishPeakTrim *trim);

/* Replaces `audio`. ceilings[frame]: magnitudes, > 0; warnings[frame]: over 0 where a frame that is
 * still to come was clipped. 1 or 2 channels with one gain for both, constant from reset to reset;
 * 1..PLANISH_GRID frames. Returns the largest reduction in dB, >= 0. */
double planish_peak_trim_process(PlanishPeakTrim *trim, double *const *audio,
                                 const double *ceilings, const double *warnings, uint32_t channels,
                                 uint32_t frames);

#endif
