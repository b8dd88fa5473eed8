/* Everything that is measured on a finished file: loudness, peaks, dynamics, stereo, faults.
 *
 * The file comes as a stream of blocks of any length; memory does not grow with it. The result
 * does not depend on where the blocks end. Mono counts as dual mono: the same signal in both
 * channels, so that a mono file reads as it sounds from two loudspeakers.
 *
 * Samples that are not finite count as 0, those beyond +-2^20 as +-2^20.
 *
 * Thread: one at a time an object, different objects at once. Not real-time safe. */
#ifndef PLANISH_HARNESS_MEASURE_H
#define PLANISH_HARNESS_MEASURE_H

#include "harness/measure/clipped_runs.h"
#include "harness/measure/true_peak_fft.h"

#include <stddef.h>
#include <stdint.h>

#define PLANISH_MEASURE_MIN_RATE 8000.0
#define PLANISH_MEASURE_MAX_RATE 384000.0

/* What there is to say of a file. A level (LUFS, dBFS, dBTP) is -INFINITY where there is none:
 * silence, nothing over the gate, or a file shorter than the window. Any other value is NAN where
 * it has no meaning. Frames count from 0. */
typedef struct {
  uint64_t frames;
  double rate;       /* Hz */
  uint32_t channels; /* as in the file: 1 or 2 */
  double duration;   /* s */

  double integrated;          /* LUFS, gated, ITU-R BS.1770-4 */
  double momentary_max;       /* LUFS, 0.4 s window, looked at every 10 ms */
  uint64_t momentary_max_end; /* frame at which that window ends */
  double shortterm_max;       /* LUFS, 3 s window, looked at every 10 ms */
  uint64_t shortterm_max_end; /* frame at which that window ends */
  double range;               /* LU, loudness range, EBU Tech 3342 */

  double true_peak;           /* dBTP, by FFT reconstruction, see true_peak_fft.h */
  double true_peak_at;        /* frame, with fraction, at which it stands */
  uint32_t true_peak_channel; /* 0 left, 1 right */
  double sample_peak;         /* dBFS */
  uint64_t sample_peak_at;    /* frame */
  uint32_t sample_peak_channel;
  double plr;     /* LU: true peak minus integrated loudness */
  double psr_min; /* LU: smallest (true peak in the 3 s window minus short-term
                     loudness), over windows above -70 LUFS, every 10 ms: the densest
                     place of the file */

  double rms;             /* dBFS, mean power of the channels; a full-scale sine reads -3.01 */
  double mid_rms;         /* dBFS, of (L+R)/2 */
  double side_rms;        /* dBFS, of (L-R)/2; -INFINITY for mono */
  double correlation;     /* -1..1, of left with right; NAN if one is silent */
  double mono_integrated; /* LUFS, of (L+R)/2 in both channels, over the blocks of `integrated` */
  double mono_loss;       /* LU, integrated minus mono_integrated: 0 for mono, 3 for unrelated
                             channels; INFINITY if nothing is left */

  double dc_offset[2];   /* mean of left and right, 1.0 being full scale; NAN for no frames */
  uint64_t clipped_runs; /* all channels, see clipped_runs.h */
} PlanishMeasurement;

typedef struct PlanishMeasure PlanishMeasure;

/* Rate within PLANISH_MEASURE_MIN_RATE..MAX_RATE, 1 or 2 channels. NULL outside of that, or
 * without memory. */
PlanishMeasure *planish_measure_new(double rate, uint32_t channels);

/* Lets `sink` hear the true peak of every step of 10 ms (see true_peak_fft.h), until finish() has
 * returned. To be called before the first frame, or not at all. */
void planish_measure_watch(PlanishMeasure *measure, PlanishTruePeakFftSink sink, void *context);

/* The clipped runs of a channel of the file; whole once finish() has been called. */
const PlanishClippedRuns *planish_measure_clipped(const PlanishMeasure *measure, uint32_t channel);

/* The next `frames` frames, samples of a frame side by side. */
void planish_measure_process(PlanishMeasure *measure, const float *interleaved, size_t frames);

/* Ends the stream and fills `result`. To be called once, last before free. */
void planish_measure_finish(PlanishMeasure *measure, PlanishMeasurement *result);

/* NULL is allowed. */
void planish_measure_free(PlanishMeasure *measure);

#endif
