/* Punch: how far attacks stand out of what follows them. For each onset the mean level of its first
 * 10 ms less that of the 50 to 150 ms behind it, in dB; the mean over all onsets. Full band, and 40
 * to 100 Hz (Butterworth, 24 dB an octave) by onsets of that band.
 *
 * Several versions of the same music are measured at once, in step: the onsets are found in the
 * first, so that the figures of a mix and its masters speak of the same moments.
 *
 * An onset is where the mean square of 10 ms (both channels added) exceeds that of the 50 ms before
 * by 6 dB, 9 dB in the low band; of the moments within 50 ms it is the one at which the mean square
 * rises most, on a grid of 0.5 ms. The full band is looked at with 6 dB an octave more treble,
 * since a snare raises a dense mix by little else. Nothing under -70 dBFS counts, neither onset nor
 * body. Definition and thresholds are ours; figures compare with figures made this way alone.
 *
 * A rise within the first 10 ms cannot be told finer than half a grid step: up to -0.22 dB.
 *
 * The result does not depend on where blocks end. Thread: one at a time an object. Not real-time
 * safe, for new() and free(). */
#ifndef PLANISH_HARNESS_PUNCH_H
#define PLANISH_HARNESS_PUNCH_H

#include <stddef.h>
#include <stdint.h>

#define PLANISH_PUNCH_MAX_VERSIONS 16

typedef struct {
  uint64_t onsets; /* found */
  double punch;    /* dB, mean over the onsets; NAN without any */
} PlanishPunchOf;

typedef struct {
  PlanishPunchOf full;
  PlanishPunchOf low; /* 40 to 100 Hz */
} PlanishPunchResult;

typedef struct PlanishPunch PlanishPunch;

/* Rate 8000..384000 Hz, 1..PLANISH_PUNCH_MAX_VERSIONS versions. NULL outside of that, or without
 * memory. */
PlanishPunch *planish_punch_new(double rate, size_t versions);
/* NULL is allowed. */
void planish_punch_free(PlanishPunch *punch);

/* The next frames of every version: finite samples of two channels, those of a frame side by side,
 * one pointer a version. */
void planish_punch_process(PlanishPunch *punch, const float *const *interleaved, size_t frames);

/* What has been heard so far of a version; an onset counts once its body has passed. */
PlanishPunchResult planish_punch_result(const PlanishPunch *punch, size_t version);

#endif
