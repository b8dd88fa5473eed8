/* The price of loudness: what a stage, or a chain, won and what it did to the sound for it.
 *
 * `after` is taken apart against `before`, in three tiers:
 *   linear      what a fixed filter does: level, equaliser, delay, mid against side. A matrix of
 * two by two filters of 0.34 s, so that what works on mid and side, or on left and right, is linear
 * alike. level       what slow gains do beyond that: one gain in each of 4 bands every 27 ms, for
 * mid and side or for left and right, whichever explains more. distortion  the rest. Two truths
 * about it. A limiter's change is mostly level, a clipper's hardly: that tells the two apart. And
 * part of what clipping does is linear (a loss of gain): the distortion is what the best filter
 * leaves, not the plain difference.
 *
 * Audible is judged by a noise-to-mask ratio in the style of ITU-R BS.1387, which it is not: see
 * masking.h. It takes a sine at full scale as 92 dB SPL.
 *
 * Over a long file the tiers are fitted to its loudest PLANISH_DISTORTION_STRETCH seconds; loudness
 * and true peak are always those of the whole. The fit itself swallows a little: distortion like
 * noise reads low by 0.3 dB at 10 s, by 0.03 dB at 120 s.
 *
 * What moves an equaliser (a dynamic band, adaptive control of resonances) is level as far as four
 * bands can follow it, and counts as distortion beyond; whether it is audible is then the better
 * question. Noise and echoes that a stage adds count as distortion too.
 *
 * Memory: about 25 MB a thread at 48 kHz, four times that at 192 kHz, whatever the length.
 * Thread: one at a time; planish_distortion_chain() starts a second one by itself. The figures are
 * the same bits with one and two threads. Not real-time safe. */
#ifndef PLANISH_HARNESS_DISTORTION_H
#define PLANISH_HARNESS_DISTORTION_H

#include "harness/audio/track.h"
#include "harness/base/error.h"

#include <stdbool.h>
#include <stdint.h>

#define PLANISH_DISTORTION_SHORTEST 10.0     /* s; under this there is no account */
#define PLANISH_DISTORTION_STRETCH  120.0    /* s, at most, to which the tiers are fitted */
#define PLANISH_DISTORTION_RUINOUS  0.1      /* share of audible frames from which on it is told */
#define PLANISH_DISTORTION_NONE     (-200.0) /* dB: nothing at all, or less */

/* Why there is an account, or none. */
typedef enum {
  PLANISH_DISTORTION_DONE,
  PLANISH_DISTORTION_TOO_SHORT, /* under PLANISH_DISTORTION_SHORTEST */
  PLANISH_DISTORTION_SILENT,    /* nothing before or nothing after, in the stretch */
} PlanishDistortionStatus;

/* Part of a track, in frames. */
typedef struct {
  uint64_t first;
  uint64_t frames;
} PlanishStretch;

/* Of a whole track. */
typedef struct {
  double loudness;  /* LUFS, integrated; -INFINITY for silence */
  double true_peak; /* dBTP; -INFINITY for silence */
} PlanishTrackLevel;

/* Where the status is not DONE, stretch and levels alone are filled; all else is NAN. */
typedef struct {
  PlanishDistortionStatus status;
  PlanishStretch stretch; /* what the tiers were fitted to; the whole of a short track */
  PlanishTrackLevel before;
  PlanishTrackLevel after;
  double loudness_won; /* LU at equal true peak: by how much peak to loudness ratio fell. NAN where
                          a side is silent. What the stage's gain alone does is no part of it */
  double gain_lowest;  /* dB: how far the level tier's gains go down and up, re the linear tier; */
  double gain_highest; /* moments 10 dB under their band's mean are left out */
  double gain_mean;    /* dB: mean of their magnitudes, weighted with power */
  /* Power re that of `after`, in dB, at least PLANISH_DISTORTION_NONE. */
  double not_linear; /* level and distortion together */
  double level;      /* what the gains of the level tier changed */
  double distortion; /* the rest */
  double audible; /* share 0..1 of frames of 43 ms where the rest is over the mask, in any band of
                     either channel */
  double nmr_p95; /* dB: 95th percentile over frames of the noise-to-mask ratio (mean of bands) */
} PlanishDistortion;

/* Told how far it is, 0..1. From one thread at a time. */
typedef void (*PlanishDistortionTold)(void *user, double share);

/* Accounts of a chain: tracks[0] is what went in, tracks[n] what came out of stage n, lined up to
 * the frame, of one length, at `rate` (8000..384000 Hz). Fills stages[0..count - 1], and *whole
 * with tracks[0] against tracks[count]; the stretch is the loudest of the last track, one for all.
 * `threads`: 1 or 2. `told` may be NULL.
 * True also without an account: look at the status. Errors: PLANISH_BAD_FILE, memory, interrupt. */
bool planish_distortion_chain(PlanishTrack *const *tracks, uint32_t count, double rate,
                              unsigned threads, PlanishDistortionTold told, void *user,
                              PlanishDistortion *stages, PlanishDistortion *whole,
                              PlanishError *error);

/* One pair alone. */
bool planish_distortion_pair(PlanishTrack *before, PlanishTrack *after, double rate,
                             PlanishDistortion *result, PlanishError *error);

/* Whether it is a price that ruins: audible in PLANISH_DISTORTION_RUINOUS of the time or more. */
bool planish_distortion_ruins(const PlanishDistortion *distortion);

/* A status in words, without a full stop: "too short for an account: 10 s are needed". */
const char *planish_distortion_words(PlanishDistortionStatus status);

#endif
