/* What costs are held against: work of known kind that runs in turn with a stage, in the same
 * process.
 *
 *   biquad   a plain stereo biquad: double precision, direct form II transposed, scalar, one
 *            channel after the other (both in one loop, where a processor works on one while it
 *            waits for the other, take some 0.55 of it)
 *   fft      FFTW's own transforms of real signals of a frame's length, forth and back, as many as
 *            a stage needs in a hop, planned by measuring
 *   ebur128  libebur128: momentary, short-term, integrated loudness and range (and true peak)
 *   soxr     libsoxr, up by 8 and down again, both channels, at its quality "high"
 *
 * Thread: one. Memory that is short ends the program. */
#ifndef PLANISH_TESTS_YARDSTICK_H
#define PLANISH_TESTS_YARDSTICK_H

#include "tests/frame/takes.h"

typedef enum {
  YARDSTICK_BIQUAD,
  YARDSTICK_FFT,
  YARDSTICK_EBUR128,
  YARDSTICK_EBUR128_TRUE_PEAK,
  YARDSTICK_SOXR,
  YARDSTICKS
} YardstickKind;

typedef struct Yardstick Yardstick;

/* length, pairs: of YARDSTICK_FFT alone. */
Yardstick *yardstick_new(YardstickKind kind, double rate, uint32_t length, unsigned pairs);
void yardstick_free(Yardstick *yardstick);

/* Seconds that `frames` frames from `at` on take it. */
double yardstick_time(Yardstick *yardstick, const Audio *in, uint32_t at, uint32_t frames);

const char *yardstick_name(YardstickKind kind);

/* CPU time of this thread: what other processes take is not counted. */
double seconds(void);

/* What reading that clock takes. */
double clock_time(void);

#endif
