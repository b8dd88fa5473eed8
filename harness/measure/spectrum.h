/* Spectra of measured signals, in double.
 *
 * A frequency is given in turns: periods a frame (Hz over sample rate). Thread: any;
 * planish_spectrum_new() and _free() from one at a time, as FFTW's planner asks. */
#ifndef PLANISH_HARNESS_SPECTRUM_H
#define PLANISH_HARNESS_SPECTRUM_H

#include <complex.h>
#include <stddef.h>

/* e^(2 pi i turns). */
double complex planish_spectrum_turn(double turns);

/* Sum of x[n] e^(-2 pi i turns n): the answer to a unit impulse at frame 0 becomes its response. */
double complex planish_spectrum_at(const float *x, size_t frames, double turns);

/* Amplitude of a tone that has a whole number of periods in the frames. */
double planish_spectrum_line(const float *x, size_t frames, double turns);

/* All sums at once, for signals of one length. */
typedef struct PlanishSpectrum PlanishSpectrum;

/* `frames` is even. NULL without memory. */
PlanishSpectrum *planish_spectrum_new(size_t frames);
/* NULL is allowed. */
void planish_spectrum_free(PlanishSpectrum *spectrum);

/* bins[k], k up to frames/2: the sum of above at k/frames turns. */
void planish_spectrum_forward(PlanishSpectrum *spectrum, const float *x, double complex *bins);

/* The signal that has these bins; those at 0 and frames/2 are real. */
void planish_spectrum_back(PlanishSpectrum *spectrum, const double complex *bins, double *x);

#endif
