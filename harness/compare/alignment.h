/* How much later one stereo stream is than another, to a small part of a frame, and whether its
 * polarity is turned.
 *
 * Both streams come in step, block by block; memory does not grow with them. Their cross-spectrum
 * is summed over overlapping stretches, channel by channel, so that every frame meets every frame
 * within the range of search. It is then brought to one level over the whole band (by the smoothed
 * spectra of both, as in the smoothed coherence transform of Carter, Nuttall and Cable 1973), so
 * that a low end that was filtered, or turned in phase, does not move the whole, nor hide that the
 * rest is alike. Where the correlation of both channels is largest in magnitude lies the delay; the
 * place between the frames is found on the correlation between its frames, where its slope is none
 * (Newton's method). Streams that differ by a delay and a factor alone are found to 1e-6
 * frames. Where nothing is alike so, the correlation is tried again as it was, for streams that
 * have one narrow part in common.
 *
 * Thread: one at a time an object; new() and free() from one at a time, as FFTW's planner asks. Not
 * real-time safe. */
#ifndef PLANISH_HARNESS_ALIGNMENT_H
#define PLANISH_HARNESS_ALIGNMENT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct {
  double delay;       /* frames by which the second is later; within the range */
  bool turned[2];     /* left, right: the second's polarity is that of the first turned */
  double correlation; /* there, 0..1: near 1 for streams that differ by delay and factor alone; 0
                         where one is silent */
} PlanishAlignment;

/* Below this correlation the streams have nothing in common that a delay could be told from. */
#define PLANISH_ALIGNMENT_UNRELATED 0.1

typedef struct PlanishAligner PlanishAligner;

/* Frames on either side within which a delay is looked for: 2 s, at most 400,000 frames (from 200
 * kHz on). */
size_t planish_aligner_range(double rate);

/* Rate 8000..384000 Hz. NULL outside of it, or without memory (50 MB at 48 kHz, at most 110 MB). */
PlanishAligner *planish_aligner_new(double rate);
/* NULL is allowed. */
void planish_aligner_free(PlanishAligner *aligner);

/* The next frames of both; finite samples of two channels, those of a frame side by side. Once one
 * has ended it goes on as silence. */
void planish_aligner_process(PlanishAligner *aligner, const float *first, const float *second,
                             size_t frames);

/* Ends the streams. To be called once, last before free. */
PlanishAlignment planish_aligner_finish(PlanishAligner *aligner);

#endif
