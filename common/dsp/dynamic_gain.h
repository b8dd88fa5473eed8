/* The moving gain of a band: level of what its side chain lets through, link, curve, floor of the
 * lift, attack and release. What the gain is applied with (dynamic_band.h, an equaliser's section)
 * and any delay are the caller's.
 *
 * The law and the times may be shared by any number of bands, and may change from frame to frame; a
 * band keeps its history alone.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_DYNAMIC_GAIN_H
#define PLANISH_DSP_DYNAMIC_GAIN_H

#include "common/dsp/gain_smoother.h"
#include "common/dsp/grid.h"
#include "common/dsp/level_detector.h"
#include "common/dsp/two_lanes.h"

/* How levels become gains. */
typedef struct {
  PlanishGainCurve curve;
  double mean_share; /* 0: peaks, 1: the mean */
  double link;       /* 0..1: channels towards the louder */
  double lift_floor; /* dB of power */
  double relative;   /* 0: the level of the band, 1: its level less that of the whole */
} PlanishGainLaw;

/* Of both channels. */
typedef struct {
  PlanishGainParts channel[2];
} PlanishGainPair;

typedef struct {
  PlanishLevelDetector band[2];
  PlanishLevelDetector whole[2];
  PlanishGainSmoother smoother[2];
  double hold;         /* ms */
  bool has_whole;      /* set up for relative levels */
  bool whole_is_heard; /* at the last frame */
} PlanishDynamicGain;

/* Rate > 0; `max_hold` in ms. `relative`: the law's `relative` may be over 0; else it must be 0,
 * and half of the memory is saved. */
void planish_dynamic_gain_setup(PlanishDynamicGain *gain, PlanishArena *arena, double rate,
                                double max_hold, bool relative);

/* No gain, a past of silence; hold in ms. */
void planish_dynamic_gain_reset(PlanishDynamicGain *gain, double hold);

/* A new hold, reached by one frame a frame. */
void planish_dynamic_gain_set_hold(PlanishDynamicGain *gain, double hold);

/* 1..PLANISH_GRID frames of 1 or 2 channels, by a law that stands still meanwhile: `band` is
 * what the side chain lets through of `whole`. Within the ranges of the law while these stand
 * still; see planish_gain_bounded(). Each frame comes out as the plain functions have it one by one
 * (tests/unit/test_dynamic_gain.c). */
void planish_dynamic_gain_process(PlanishDynamicGain *gain, const PlanishGainLaw *law,
                                  const PlanishGainTimes *times, const double *const band[2],
                                  const double *const whole[2], uint32_t channels,
                                  PlanishGainPair *gains, uint32_t frames);

/* The gain in dB of both parts, within the ranges as they are now, though they may have shrunk
 * since the parts were made: -larger range .. range_below. */
static inline double planish_gain_bounded(const PlanishGainParts *parts,
                                          const PlanishGainCurve *curve)
{
  const double above = planish_min(parts->above, curve->range_above);
  const double below = planish_clamp(parts->below, -curve->range_below, curve->range_below);
  return planish_max(below - above, -planish_max(curve->range_above, curve->range_below));
}

#endif
