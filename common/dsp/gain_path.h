/* From what must be taken off each frame to the gain reduction of a look-ahead limiter:
 * maximum over look-ahead + hold, release, smooth window as long as the look-ahead.
 *
 * With look-ahead N, the result at frame n is at least the need of frame n - N + 1, for every n,
 * once 2 N frames have gone in. A limiter delays its audio by N - 1 frames.
 *
 * Beside the reduction of each channel goes the lift that all channels share (quiet_lift.h): its
 * least value over the look-ahead, smoothed by the same window, so the lift has left by the time
 * that a loud frame comes out, and is at most what it was for that frame.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_GAIN_PATH_H
#define PLANISH_DSP_GAIN_PATH_H

#include "common/dsp/arena.h"
#include "common/dsp/box_window.h"
#include "common/dsp/sliding_max.h"
#include "common/dsp/slow_fast_release.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct {
  PlanishSlidingMax held[2];
  PlanishSlidingMax least_lift; /* of the lift's negative */
  PlanishSlowFastRelease release[2];
  PlanishBoxWindow window[2];
  PlanishBoxWindow lift_window;
  uint32_t zeros[2];  /* frames without a need until now, as many as are remembered at most */
  uint32_t lookahead; /* frames */
  uint32_t hold;      /* frames, on its way to `hold_target` by one a frame */
  uint32_t hold_target;
} PlanishGainPath;

/* What all frames of a block share. */
typedef struct {
  PlanishSlowFastTimes times;
  const double *slow_share; /* per frame, 0..1 */
  uint32_t channels;        /* 1 or 2 */
  uint32_t frames;
  bool lifting; /* the lift is looked at */
} PlanishGainPathBlock;

/* In frames: `max_lookahead` 1..PLANISH_BOX_WINDOW_MAX, `max_hold` >= 0. */
void planish_gain_path_setup(PlanishGainPath *path, PlanishArena *arena, uint32_t max_lookahead,
                             uint32_t max_hold);

/* Forgets all history and takes a look-ahead (1..max) and a hold (0..max), in frames. */
void planish_gain_path_reset(PlanishGainPath *path, uint32_t lookahead, uint32_t hold);

/* need[channel]: dB to take off, >= 0; lift: dB. Both aligned with the frame that needs them. Fills
 * reduction[channel] and, if lifting, lift_out with dB. */
void planish_gain_path_process(PlanishGainPath *path, const PlanishGainPathBlock *block,
                               double *const *need, const double *lift, double *const *reduction,
                               double *lift_out);

/* Only fills the maxima: the first `lookahead + hold` frames of a path that takes over. */
void planish_gain_path_warm_up(PlanishGainPath *path, const PlanishGainPathBlock *block,
                               double *const *need, const double *lift);

#endif
