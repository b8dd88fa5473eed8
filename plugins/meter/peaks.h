/* True and sample peak of two channels: the largest of what is counted, and of the last 3 s.
 *
 * The true peak of a frame is known PLANISH_METER_PEAK_INTERVALS grid intervals after it at most
 * (true_peak.h), so what it counts for is kept for so long: a restart forgets the frames before it,
 * though their peaks are yet to come.
 *
 * It sees content nearly up to half the rate: tones within 0.05 dB up to 0.49 of the rate at 44.1
 * and 48 kHz (0.48 at 88.2 and 96, 0.47 at 176.4 and 192 kHz), and music that was clipped by 12 dB,
 * which fills the band, within 0.02 dB. Closer to half the rate it is blind, and may read a little
 * high or low.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_METER_PEAKS_H
#define PLANISH_METER_PEAKS_H

#include "common/dsp/glide.h"
#include "common/dsp/sliding_max.h"
#include "common/dsp/true_peak.h"

#include <stdbool.h>

enum { PLANISH_METER_PEAK_INTERVALS = 8 };

typedef struct {
  PlanishTruePeak detector[2];
  PlanishSlidingMax recent;                   /* true peaks of steps of 10 ms */
  double in_step;                             /* largest true peak of the step under way */
  double recent_peak;                         /* largest of the last 3 s; magnitudes all */
  double true_peak;                           /* largest that counts */
  double sample_peak;                         /* largest that counts */
  bool counted[PLANISH_METER_PEAK_INTERVALS]; /* whether grid intervals count, a ring */
  bool counting;                              /* whether the next do */
  bool owner_counts; /* whether the frames do whose true peaks come out now */
  uint32_t delay;    /* grid intervals from a frame to its peak */
  uint32_t interval; /* place in the ring */
  uint32_t at;       /* frames since the last grid frame */
} PlanishMeterPeaks;

void planish_meter_peaks_setup(PlanishMeterPeaks *peaks, PlanishArena *arena, double rate);

/* Silence before; counts. */
void planish_meter_peaks_reset(PlanishMeterPeaks *peaks);

/* At a grid frame: whether what comes counts. */
void planish_meter_peaks_count(PlanishMeterPeaks *peaks, bool counting);

/* At a grid frame: forgets what was counted. */
void planish_meter_peaks_restart(PlanishMeterPeaks *peaks);

/* `frames` frames, not across a grid frame. */
void planish_meter_peaks_process(PlanishMeterPeaks *peaks, const double *const audio[2],
                                 uint32_t frames);

/* A step of 10 ms is over. */
void planish_meter_peaks_finish_step(PlanishMeterPeaks *peaks);

#endif
