/* Where sound and reported values can be taken on their way through a chain.
 *
 * Boundary 0 is the chain's input, after the input gain; boundary n + 1 is after stage or branch n
 * by index, so that a sheet of n has n + 1; those within a branch hold what the branch carries.
 * Whatever is taken lines up with the mix: each boundary's latency and the pre-roll are taken out
 * to the frame, and frame 0 is the mix's first that was asked for. Every boundary gives as many
 * frames as the result has, tail included, but for the head silence: that and the fades come after
 * the last boundary. All are given in one render; those that stand earlier in the chain come first.
 *
 * Thread: any; one at a time a boundary, and a stage whose values are taken, different ones at
 * once. */
#ifndef PLANISH_HARNESS_TAP_H
#define PLANISH_HARNESS_TAP_H

#include "harness/base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Takes sound, the samples of a frame side by side. False ends the render. */
typedef bool (*PlanishSink)(void *user, const float *interleaved, size_t frames,
                            PlanishError *error);

typedef struct {
  PlanishSink take; /* NULL: nothing is taken here */
  void *user;
} PlanishTap;

/* What a stage reported in a block of at most PLANISH_CHAIN_BLOCK frames (chain.h): the value at
 * the control output `port` of stage `stage`, both by index, finite, for the frames from `first`
 * on. Blocks come in order and without gaps. */
typedef struct {
  uint32_t stage;
  uint32_t port;
  uint64_t first;
  uint32_t frames; /* > 0 */
  float value;
} PlanishReported;

typedef void (*PlanishReportedTaken)(void *user, const PlanishReported *reported);

typedef struct {
  const PlanishTap *sound;     /* by boundary; NULL: none */
  PlanishReportedTaken values; /* of all control outputs but the latency; NULL: none */
  void *values_user;
} PlanishTaps;

#endif
