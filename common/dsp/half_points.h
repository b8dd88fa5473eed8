/* The signal half way between its frames, good up to close to half the rate, for much less than one
 * long filter costs.
 *
 * The longer such a filter, the closer to half the rate it can go: what all taps but the nearest
 * are there for is a narrow band below half the rate. So a short filter does the rest, and what it
 * lacks is taken from that narrow band, at an eighth of the rate: a multirate filter in the manner
 * of R. E. Crochiere and L. R. Rabiner ("Interpolation and decimation of digital signals", Proc.
 * IEEE 1981). A band pass gives one value for each PLANISH_HALF_GROUP frames, and each of the
 * points in a group has its own weights for the values around it, by least squares on what is
 * lacking up to half the rate.
 *
 * For 250 frames on each side: 96 taps, 65 for each eighth frame, and 53 weights, in place of 500
 * taps. Errors are under 0.002 (0.017 dB) up to 0.485 of the rate and under 0.0035 up to 0.493;
 * 500 taps have 0.0012 and 0.003.
 *
 * In single precision (about 1e-6 relative), in a fixed order: the same frames give the same bits
 * whatever the block split.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_HALF_POINTS_H
#define PLANISH_DSP_HALF_POINTS_H

#include "common/dsp/arena.h"
#include "common/dsp/grid.h"

#include <stdint.h>

/* Frames of a group; and frames that are looked at behind a block, at most. */
enum { PLANISH_HALF_GROUP = 8, PLANISH_HALF_SPARE = 16 };

typedef struct {
  float *near;     /* half of the short filter, which is symmetric, farthest first */
  float *band;     /* the band pass, oldest first, to whole registers */
  float *weights;  /* [value][point of the group], oldest value first */
  float *values;   /* of the narrow band: the last ones, then room to move on */
  uint32_t taps;   /* of the short filter */
  uint32_t groups; /* values that count; 0: no narrow band */
  uint32_t delay;
  uint32_t at;                       /* the last value's place in `values` */
  uint32_t phase;                    /* frames into the group */
  float lacking[PLANISH_HALF_GROUP]; /* of the points of this group */
} PlanishHalfPoints;

/* `reach`: frames on each side, 4..250; under 120 one filter does it all. */
void planish_half_points_setup(PlanishHalfPoints *points, PlanishArena *arena, uint32_t reach);

void planish_half_points_reset(PlanishHalfPoints *points);

/* Frames from a frame to when the point half a frame after it is known: `reach` or somewhat less.
 */
static inline uint32_t planish_half_points_delay(const PlanishHalfPoints *points)
{
  return points->delay;
}

/* For 1..PLANISH_GRID frames at `newest`: halves[i] is the point half a frame after
 * newest[i - delay]. 2 reach frames lie before `newest`; up to PLANISH_HALF_SPARE behind the
 * frames are read, and as many halves written, without a meaning. */
void planish_half_points_process(PlanishHalfPoints *points, const float *newest, float *halves,
                                 uint32_t frames);

#endif
