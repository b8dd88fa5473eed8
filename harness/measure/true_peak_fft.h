/* True peak as an ideal converter would make it: band-limited reconstruction of the whole file by
 * FFT, streaming, in constant memory.
 *
 * Overlapping blocks are faded in and out smoothly and transformed; three phase shifts of the
 * spectrum, transformed back, give a grid of 4 points a frame in the part between the fades.
 * Between grid points the peak is refined as grid_peak.h says: 32 points a frame and a parabola
 * wherever they can matter.
 *
 * Against zero padding of the whole file the difference is under 0.001 dB for content up to 0.49 of
 * the rate. White noise, and music clipped at the base rate, hold more right up to half the rate,
 * where the peak depends on ever more distant samples: they differ by some 0.005 dB. Before the
 * file and after it there is silence; overshoot there counts.
 *
 * Thread: one at a time an object, different objects at once (planning holds a lock). Not
 * real-time safe. */
#ifndef PLANISH_HARNESS_TRUE_PEAK_FFT_H
#define PLANISH_HARNESS_TRUE_PEAK_FFT_H

#include <stddef.h>
#include <stdint.h>

/* A step's peak is known at the latest when this many frames have followed the step's first. */
#define PLANISH_TRUE_PEAK_FFT_LAG 65536

typedef struct {
  double magnitude; /* 1.0 is full scale; 0 for silence */
  double frame;     /* where it stands, with fraction; overshoot outside of the file is put to its
                       first or last frame */
  uint32_t channel;
} PlanishTruePeakFftResult;

/* Is told the peak magnitude, over all channels, of each step of 10 ms in turn, counted from 0 (see
 * planish_loudness_step_end()). The last ones lie behind the end of the file. */
typedef void (*PlanishTruePeakFftSink)(void *context, uint64_t step, double magnitude);

typedef struct PlanishTruePeakFft PlanishTruePeakFft;

/* Rate 8000..384000 Hz, 1 or 2 channels. `sink` may be NULL. NULL without memory. */
PlanishTruePeakFft *planish_true_peak_fft_new(double rate, uint32_t channels,
                                              PlanishTruePeakFftSink sink, void *context);

/* `audio` is one pointer a channel; finite samples, at most 2^20 in magnitude. */
void planish_true_peak_fft_process(PlanishTruePeakFft *peak, const double *const *audio,
                                   size_t frames);

/* Ends the stream. To be called once, last before free. */
PlanishTruePeakFftResult planish_true_peak_fft_finish(PlanishTruePeakFft *peak);

/* NULL is allowed. */
void planish_true_peak_fft_free(PlanishTruePeakFft *peak);

#endif
