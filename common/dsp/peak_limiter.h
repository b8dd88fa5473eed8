/* Look-ahead true-peak limiter for one or two channels: the gain that keeps every frame's true
 * peak at or under a ceiling, and the delayed audio under it.
 *
 * Per frame: true peak -> what must be taken off, in dB -> channels linked -> sliding maximum over
 * look-ahead + hold -> release in a slow and a fast part -> three moving means in a row, together
 * as long as the look-ahead -> gain. (Maximum and window: the order-statistics idea of
 * Haemaelaeinen, DAFx-02.) The means have weights >= 0 with sum 1, and each value under them is at
 * least the need of the frame that leaves, so the ceiling is kept without any clipping.
 *
 * The hold covers half a period of the lowest tone, so that the gain stands still under any steady
 * tone: limiting by 3 dB at 50 Hz leaves no measurable distortion.
 *
 * What moves while audio runs:
 * - ceiling: each frame is held under the strictest ceiling that was in force from when it came in
 *   until its peak was known. Lower takes effect at once, without a click, since the gain path
 *   smooths it.
 * - look-ahead: a second gain path is warmed up and cross-faded to in dB over 20 ms; each of them
 *   keeps the ceiling, so their mixture does. A change is done after at most 100 ms or so; what was
 *   asked for meanwhile comes next. Latency is that of the largest look-ahead.
 * - hold moves by one frame a frame; link and slow share glide over 20 ms; release at once.
 *
 * Bit-exact (the delayed input) as long as nothing reaches the ceiling and the lift is 0 dB.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_PEAK_LIMITER_H
#define PLANISH_DSP_PEAK_LIMITER_H

#include "common/dsp/arena.h"
#include "common/dsp/delay.h"
#include "common/dsp/gain_path.h"
#include "common/dsp/glide.h"
#include "common/dsp/quiet_lift.h"
#include "common/dsp/true_peak.h"

#include <stdbool.h>
#include <stdint.h>

/* What sizes the buffers and the latency; fixed from set-up. */
typedef struct {
  double max_lookahead; /* ms, > 0; in frames at most PLANISH_BOX_WINDOW_MAX */
  double max_hold;      /* ms, >= 0 */
  uint32_t taps;        /* of the true-peak detector a phase: even, 8..512; usually
                           PLANISH_TRUE_PEAK_TAPS */
} PlanishPeakLimiterConfig;

typedef struct {
  double ceiling;    /* dBTP */
  double lookahead;  /* ms, up to the largest; at least one frame is taken */
  double hold;       /* ms, 0 up to the largest */
  double release;    /* ms, > 0: time constant of the fast part's fall */
  double slow_share; /* 0..1: how much of a lasting reduction the slow part carries */
  double link;       /* 0..1: 1 gives both channels the gain of the louder */
  double lift;       /* dB, 0..6: quiet content up by this much, under the ceiling; see
                        quiet_lift.h */
  double lift_floor; /* dB re full scale: below it the lift fades out */
} PlanishPeakLimiterSettings;

typedef struct PlanishPeakLimiter PlanishPeakLimiter;

/* Frames between input and output: taps/2 + the largest look-ahead - 1. */
uint32_t planish_peak_limiter_latency(double rate, const PlanishPeakLimiterConfig *config);

/* Rate > 0. The limiter may be moved in memory between the counting and the filling pass. */
void planish_peak_limiter_setup(PlanishPeakLimiter *limiter, PlanishArena *arena, double rate,
                                const PlanishPeakLimiterConfig *config);

/* Forgets all history; the next set() is stood on at once. */
void planish_peak_limiter_reset(PlanishPeakLimiter *limiter);

/* At grid frames only (counted from reset, every PLANISH_GRID frames), and once after reset. */
void planish_peak_limiter_set(PlanishPeakLimiter *limiter,
                              const PlanishPeakLimiterSettings *settings);

/* Replaces `audio` by its limited self. 1 or 2 channels (constant from reset to reset),
 * 1..PLANISH_GRID frames, never across a grid frame. `reference`: NULL, or filled with the delayed
 * input where its channel is not NULL; must not overlap `audio`. Returns the largest reduction
 * among the channels and frames, in dB, >= 0 (the lift is not counted); limiter->output_peak is
 * then the largest true peak of the block's result, a magnitude: that of the input times the gain.
 */
double planish_peak_limiter_process(PlanishPeakLimiter *limiter, double *const *audio,
                                    double *const *reference, uint32_t channels, uint32_t frames);

struct PlanishPeakLimiter {
  PlanishDelay delay[2];
  PlanishTruePeak detector[2];
  PlanishQuietLift quiet_lift;
  PlanishGainPath path[2]; /* the one in use, and the one that takes over */
  PlanishGlide link;
  PlanishGlide slow_share;
  PlanishSlowFastTimes times;
  PlanishPeakLimiterSettings settings;
  double *peaks[2];    /* rings of what the detectors found, magnitudes */
  double *need[2];     /* rings of what must be taken off, dB */
  double *lift;        /* ring of the lift, dB */
  double *ceilings;    /* on the last grid frames, a ring */
  double output_peak;  /* of the last block */
  double ceiling;      /* the strictest of them, dB */
  double threshold;    /* peaks up to this magnitude need nothing */
  double rate;         /* Hz */
  uint32_t delay_mask; /* length of the rings less one; lengths are powers of two */
  uint32_t need_mask;
  uint32_t ceiling_count;
  uint32_t ceiling_at;
  uint32_t now;           /* frames since reset; wraps */
  uint32_t latency;       /* frames */
  uint32_t max_lookahead; /* frames */
  uint32_t max_hold;      /* frames */
  uint32_t current;       /* which path is in use */
  uint32_t change;    /* grid intervals since the other path started, from 1; 0: none is moving */
  uint32_t lift_tail; /* grid intervals until the last of the lift has left; 0: it has */
  bool fresh;         /* nothing was set since reset */
};

#endif
