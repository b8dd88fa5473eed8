/* Mean levels in third octaves of a stereo stream: left, right, mid and side.
 *
 * Bands are those of IEC 61260-1, base ten: centres 1000 * 10^(k/10) Hz, edges 10^(1/20) below and
 * above, from 20 Hz on up to half the rate, which cuts the last one short. They are cut out of long
 * spectra (Hann window, three quarters overlap, bins of at most 0.75 Hz) with straight edges, so
 * the bands share no power: every frame weighs the same, and the powers of all bands, and of what
 * is under 17.8 Hz, add up to the mean square of the file. A steady tone near an edge is divided
 * between two bands over some 3 Hz.
 *
 * The result does not depend on where blocks end. Memory: some 6 MB at 48 kHz, in proportion to the
 * rate. Thread: one at a time an object; new() and free() from one at a time, as FFTW's planner
 * asks. Not real-time safe. */
#ifndef PLANISH_HARNESS_THIRD_OCTAVES_H
#define PLANISH_HARNESS_THIRD_OCTAVES_H

#include <stddef.h>

/* Up to the highest rate, 384 kHz. */
#define PLANISH_THIRD_OCTAVES_MAX 41

enum { PLANISH_BAND_LEFT, PLANISH_BAND_RIGHT, PLANISH_BAND_MID, PLANISH_BAND_SIDE };
#define PLANISH_BAND_CHANNELS 4

typedef struct {
  double nominal;                      /* Hz, as it is called: 20, 25, 31.5, ... (ISO 266) */
  double centre;                       /* Hz, exact */
  double level[PLANISH_BAND_CHANNELS]; /* dBFS, of the mean square: a full-scale sine reads -3.01;
                                           -HUGE_VAL for nothing */
} PlanishThirdOctave;

typedef struct {
  size_t count;
  PlanishThirdOctave band[PLANISH_THIRD_OCTAVES_MAX];
} PlanishThirdOctaveLevels;

typedef struct PlanishThirdOctaves PlanishThirdOctaves;

/* Rate 8000..384000 Hz. NULL outside of it, or without memory. */
PlanishThirdOctaves *planish_third_octaves_new(double rate);
/* NULL is allowed. */
void planish_third_octaves_free(PlanishThirdOctaves *octaves);

/* Finite samples of two channels, those of a frame side by side. */
void planish_third_octaves_process(PlanishThirdOctaves *octaves, const float *interleaved,
                                   size_t frames);

/* Ends the stream. To be called once, last before free. */
void planish_third_octaves_finish(PlanishThirdOctaves *octaves, PlanishThirdOctaveLevels *levels);

/* The exact centre of a band, Hz, 0 being 20 Hz, and what it is called. */
double planish_third_octave_centre(size_t band);
double planish_third_octave_nominal(size_t band);

/* How many bands there are at a rate: those that begin under half of it. */
size_t planish_third_octave_count(double rate);

#endif
