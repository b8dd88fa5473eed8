/* A stage's response to small signals, by frequency.
 *
 * The signal is pink noise that repeats: every line between 10 Hz and 0.49 of the rate, with equal
 * power an octave and phases at random, over a period of a power of two frames (1.25 to 2.5 s). So
 * a stage that works by level, or that tells notes from noise, meets the same steady signal
 * throughout, and one that is linear is measured to the rounding of its samples. Bells may stand in
 * its spectrum, for stages that look for what stands out, or is covered by it.
 *
 * The stage runs for its latency and what it `settles` in, then on until two periods in a row give
 * the same answer within 0.001 dB (or -140 dB re the input), for 20 s more at most.
 *
 * At each frequency the lines of 1/96 octave around it count, by a quadratic fit to the complex
 * response (Savitzky, Golay 1964), so that what a moving stage scatters averages out and the form
 * of a narrow band stays. Group delay is the turn of the phase from line to line there; how far the
 * lines scatter about the fit tells how sure it is. One whose standard error is over 0.002 ms and
 * over a tenth of itself is none.
 * Thread: that of planish_spectrum_new(). */
#ifndef PLANISH_HARNESS_FREQUENCY_RESPONSE_H
#define PLANISH_HARNESS_FREQUENCY_RESPONSE_H

#include "harness/response/probe.h"

#include <stddef.h>

#define PLANISH_RESPONSE_LOWEST_HZ  20.0
#define PLANISH_RESPONSE_HIGHEST_HZ 20000.0

typedef struct {
  size_t count;
  double *hz;              /* the lines nearest to what was asked for; rising, each once */
  double complex *answers; /* out re in, after the latency */
  double *levels;          /* dB of the above; -HUGE_VAL for nothing at all */
  double *phases;          /* degrees of the above, without jumps; NAN where less than -140 dB */
  double *delays;          /* s: group delay that is left after the latency; NAN likewise, and where
                              it is not sure */
  uint32_t latency;        /* frames */
  double seconds;          /* how long the stage ran */
  bool settled;
} PlanishFrequencyResponse;

/* A bell in the noise's spectrum: the magnitude of the peaking filter of these settings. */
typedef struct {
  double hz;
  double gain; /* dB; under 0 a dip */
  double q;
} PlanishNoiseBell;

enum { PLANISH_NOISE_BELLS = 8 };

typedef struct {
  double level; /* dBFS: its rms re that of a full-scale sine */
  size_t bell_count;
  PlanishNoiseBell bells[PLANISH_NOISE_BELLS];
} PlanishNoise;

/* The noise re pink at `hz`, in dB. */
double planish_noise_bells(const PlanishNoise *noise, double hz);

/* `hz` rises and lies within PLANISH_RESPONSE_LOWEST_HZ and planish_response_highest(rate). NULL:
 * see planish_probe_run(). */
PlanishFrequencyResponse *planish_frequency_response_new(const PlanishProbeSetup *setup,
                                                         const PlanishNoise *noise,
                                                         const double *hz, size_t count,
                                                         PlanishError *error);
/* NULL is allowed. */
void planish_frequency_response_free(PlanishFrequencyResponse *response);

/* 20 kHz, or 0.475 of a rate that does not hold it. */
double planish_response_highest(double rate);

/* Level at any frequency of the range, in dB, straight between the lines on a logarithmic axis. */
double planish_frequency_response_level(const PlanishFrequencyResponse *response, double hz);

#endif
