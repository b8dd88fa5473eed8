/* What the meter reads of a stereo programme: loudness by ITU-R BS.1770-5 (Annex 1, two channels)
 * and EBU Tech 3341 and 3342, true peak, and how the channels stand to each other.
 *
 * Time goes in the steps of 10 ms of loudness.h, and readings are looked at where a step ends, so
 * that no block of the host's changes them. Memory is constant, whatever the time.
 *
 * A level is METER_NOTHING or METER_SILENCE where there is none. Thread: one at a time. All but
 * setup are real-time safe. */
#ifndef PLANISH_METER_CORE_H
#define PLANISH_METER_CORE_H

#include "common/dsp/arena.h"
#include "common/dsp/loudness.h"
#include "common/dsp/true_peak.h"

#include <stdint.h>

/* Under the absolute gate of BS.1770, LUFS; no signal, dB. */
#define METER_NOTHING (-70.0)
#define METER_SILENCE (-120.0)

typedef struct {
  double momentary;     /* LUFS: the last 0.4 s, ... */
  double shortterm;     /* ... the last 3 s, ... */
  double integrated;    /* ... all, gated */
  double range;         /* LU, loudness range */
  double true_peak;     /* dBTP, of all and ... */
  double true_peak_now; /* ... of the last 3 s */
  double sample_peak;   /* dBFS, of all */
  double plr;           /* LU, true peak less integrated loudness; 0 without */
  double psr;           /* LU, the same of the last 3 s */
  double correlation;   /* -1..1, of left with right over the last 3 s; 0 where one is silent */
  double mono_loss;     /* LU that all loses in mono, integrated; at most METER_MOST_LOSS */
  double mid_level;     /* dBFS of the mean square of (L+R)/2 over the last 3 s, ... */
  double side_level;    /* ... of (L-R)/2 */
} MeterReadings;

#define METER_MOST_LOSS 60.0

/* Of the last 3 s, a step each. */
typedef struct {
  double peak; /* true, magnitude */
  double left; /* sums of squares, ... */
  double right;
  double product; /* ... and of left times right */
} MeterStep;

typedef struct {
  PlanishLoudness loudness;
  PlanishLoudness mono;
  PlanishTruePeak detectors[2];
  MeterStep *steps;                                       /* a ring */
  MeterStep step;                                         /* under way */
  uint64_t step_frames[PLANISH_LOUDNESS_SHORTTERM_STEPS]; /* of each in the ring */
  uint64_t frame;                                         /* within the step under way */
  double true_peak;                                       /* magnitudes */
  double sample_peak;
  MeterReadings readings;
} MeterCore;

/* PLANISH_BAD_RATE as planish_loudness_setup(). */
PlanishStatus meter_core_setup(MeterCore *core, PlanishArena *arena, double rate);
void meter_core_reset(MeterCore *core);

/* At most METER_MOST_FRAMES frames of left and right, left as they are. */
#define METER_MOST_FRAMES 64
void meter_core_process(MeterCore *core, const double *const audio[2], uint32_t frames);

#endif
