#include "common/dsp/half_points.h"

#include "common/dsp/eight_floats.h"
#include "common/dsp/fractional_delay.h"
#include "common/dsp/maths.h"
#include "common/dsp/toeplitz.h"
#include "common/dsp/trig.h"
#include "common/dsp/wide.h"
#include "common/dsp/windowed_sinc.h"

#include <stdbool.h>
#include <string.h>

enum {
  GROUP = PLANISH_HALF_GROUP,
  LANES = PLANISH_EIGHT,
  AT_ONCE = PLANISH_HALF_SPARE, /* points by the short filter */
  NEAR_TAPS = 96,
  LEAST_REACH = 120, /* for a narrow band; below there is too little of it to be of use */
  BAND_REACH = 32,   /* of the band pass, frames each way */
  BAND_ROOM = (2 * BAND_REACH + 1 + LANES - 1) / LANES * LANES,
  RUN = 256, /* values that come in before the last ones are moved to the front again */
  POINTS = 512,
};

_Static_assert((int)GROUP == (int)LANES, "the points of a group side by side");

/* Up to here the short filter is to do it alone, as a share of the rate. */
#define NEAR_BELOW 0.46
/* The narrow band reaches down to here; the band pass has no images of it to keep out above. */
#define BAND_BELOW       0.45
#define BAND_ATTENUATION 54.0
#define DESIGN_FROM      0.375
#define TIMES            1000.0
/* What an unknown that hardly counts may cost, so that weights stay small. */
#define RIDGE 1e-9

/* The share of the rate up to which errors count, of a filter with so many frames each way. */
static double edge_of(uint32_t reach)
{
  return 0.5 - 1.25 / reach;
}

/* The middle one of the values that a point is made of stands so many frames after the beginning of
 * the point's group. */
enum { MIDDLE = GROUP - 1 };

static uint32_t groups_of(uint32_t reach)
{
  /* As many on either side of the middle one, which ends BAND_REACH frames after MIDDLE; an even
   * number of them, for find_lacking(). */
  return reach < LEAST_REACH ? 0 : 4 * ((reach / GROUP - BAND_REACH / GROUP - 1) / 2) + 1;
}

/* What is designed, in double precision. */
typedef struct {
  double near[PLANISH_FRACTIONAL_DELAY_MAX_TAPS];
  double band[2 * BAND_REACH + 1];
  /* At each of the points that the design looks at: */
  double w[POINTS];      /* radians a frame */
  double passed[POINTS]; /* by the band pass */
  double wanted[POINTS]; /* what the short filter lacks, times `weight` and `passed` */
  double weight[POINTS];
} Design;

static void design_filters(Design *design, uint32_t taps, double below)
{
  const PlanishWindowedSinc low = {BAND_REACH + 1, 1.0 - 2.0 * BAND_BELOW, BAND_ATTENUATION};
  planish_fractional_delay_design(design->near, taps, 0.5, (PlanishDelayWeight){below, TIMES});
  for (int k = 0; k <= 2 * BAND_REACH; ++k) {
    const int from_middle = k - BAND_REACH;
    const double value = planish_windowed_sinc_at(&low, from_middle);
    design->band[k] = from_middle % 2 == 0 ? value : -value;
  }
}

static void design_points(Design *design, double edge)
{
  for (int i = 0; i < POINTS; ++i) {
    const double share = DESIGN_FROM + (0.5 - DESIGN_FROM) * (i + 0.5) / POINTS;
    const double w = 2.0 * PLANISH_PI * share;
    double passed = design->band[BAND_REACH];
    double lacking = 1.0;
    for (int k = 1; k <= BAND_REACH; ++k) {
      passed += 2.0 * design->band[BAND_REACH + k] * planish_sine_cosine(w * k).cosine;
    }
    for (int k = 0; k < NEAR_TAPS / 2; ++k) {
      lacking -= 2.0 * design->near[NEAR_TAPS / 2 + k] * planish_sine_cosine(w * (k + 0.5)).cosine;
    }
    design->w[i] = w;
    design->passed[i] = passed;
    design->weight[i] = share < edge ? TIMES : 1.0;
    design->wanted[i] = design->weight[i] * passed * lacking;
  }
}

/* Adds scale times the cosines of w (from + GROUP i) to sums[0..count-1]. */
static void add_cosines(double w, double from, double scale, double *sums, uint32_t count)
{
  const double twice = 2.0 * planish_sine_cosine(w * GROUP).cosine;
  double now = planish_sine_cosine(w * from).cosine;
  double before = planish_sine_cosine(w * (from - GROUP)).cosine;
  for (uint32_t i = 0; i < count; ++i) {
    const double next = twice * now - before;
    sums[i] += scale * now;
    before = now;
    now = next;
  }
}

static void lay_weights(const PlanishHalfPoints *points, const Design *design)
{
  const uint32_t count = points->groups;
  double row[PLANISH_TOEPLITZ_MAX_SIZE] = {0};
  for (int i = 0; i < POINTS; ++i) {
    const double passed = design->passed[i];
    add_cosines(design->w[i], 0.0, design->weight[i] * passed * passed, row, count);
  }
  row[0] *= 1.0 + RIDGE;
  for (int r = 0; r < GROUP; ++r) {
    const double first = MIDDLE - GROUP * 0.5 * (count - 1) - (r + 0.5);
    double side[PLANISH_TOEPLITZ_MAX_SIZE] = {0};
    double found[PLANISH_TOEPLITZ_MAX_SIZE];
    for (int i = 0; i < POINTS; ++i) {
      add_cosines(design->w[i], first, design->wanted[i], side, count);
    }
    planish_toeplitz_solve(row, side, found, count);
    for (uint32_t i = 0; i < count; ++i) {
      points->weights[i * GROUP + (uint32_t)r] = (float)found[i];
    }
  }
}

static void lay(const PlanishHalfPoints *points, uint32_t reach)
{
  Design design;
  const bool alone = points->groups == 0;
  design_filters(&design, points->taps, alone ? edge_of(reach) : NEAR_BELOW);
  for (uint32_t k = 0; k < points->taps / 2; ++k) {
    points->near[k] = (float)design.near[k];
  }
  if (alone) {
    return;
  }
  for (int k = 0; k <= 2 * BAND_REACH; ++k) {
    points->band[k] = (float)design.band[k];
  }
  design_points(&design, edge_of(reach));
  lay_weights(points, &design);
}

static uint32_t even(uint32_t pairs)
{
  return pairs + pairs % 2;
}

void planish_half_points_setup(PlanishHalfPoints *points, PlanishArena *arena, uint32_t reach)
{
  const uint32_t groups = groups_of(reach);
  *points = (PlanishHalfPoints){.groups = groups};
  points->taps = groups > 0 ? NEAR_TAPS : 2 * reach;
  points->delay = groups > 0 ? GROUP * (groups / 2 + BAND_REACH / GROUP + 1) : reach;
  points->near = planish_arena_take(arena, even(points->taps / 2), sizeof(float));
  points->band = planish_arena_take(arena, BAND_ROOM, sizeof(float));
  points->weights = planish_arena_take(arena, (size_t)groups * GROUP, sizeof(float));
  points->values = planish_arena_take(arena, (size_t)groups + RUN, sizeof(float));
  if (planish_arena_is_filling(arena)) {
    lay(points, reach);
  }
}

void planish_half_points_reset(PlanishHalfPoints *points)
{
  memset(points->values, 0, (points->groups + RUN) * sizeof(float));
  memset(points->lacking, 0, sizeof points->lacking);
  points->at = 0;
  points->phase = 0;
}

/* The short filter on AT_ONCE frames, two pairs of taps in turn; where one is left over, the other
 * one is 0. */
PLANISH_INLINED void find_near(const PlanishHalfPoints *points, const float *newest, float *halves)
{
  const size_t pairs = points->taps / 2;
  const float *front = newest - points->delay - (pairs - 1);
  const float *back = front + points->taps - 1;
  const float *near = points->near;
  PlanishEight half[2] = {planish_eight_all(0.0F), planish_eight_all(0.0F)};
  PlanishEight other[2] = {planish_eight_all(0.0F), planish_eight_all(0.0F)};
  for (const float *end = near + even(points->taps / 2); near != end; near += 2) {
    half[0] += near[0] * (planish_eight_load(front) + planish_eight_load(back));
    half[1] += near[0] * (planish_eight_load(front + LANES) + planish_eight_load(back + LANES));
    other[0] += near[1] * (planish_eight_load(front + 1) + planish_eight_load(back - 1));
    other[1] +=
        near[1] * (planish_eight_load(front + 1 + LANES) + planish_eight_load(back - 1 + LANES));
    front += 2;
    back -= 2;
  }
  planish_eight_store(halves, half[0] + other[0]);
  planish_eight_store(halves + LANES, half[1] + other[1]);
}

PLANISH_INLINED float sum_of(PlanishEight x)
{
  return ((x[0] + x[4]) + (x[1] + x[5])) + ((x[2] + x[6]) + (x[3] + x[7]));
}

/* The value of the narrow band whose newest frame is `last`. */
PLANISH_INLINED float narrow_value(const PlanishHalfPoints *points, const float *last)
{
  const float *past = last - (size_t)2 * BAND_REACH;
  PlanishEight sum = planish_eight_all(0.0F);
  for (int k = 0; k < 2 * BAND_REACH; k += LANES) {
    sum += planish_eight_load(points->band + k) * planish_eight_load(past + k);
  }
  return sum_of(sum) + points->band[(size_t)2 * BAND_REACH] * *last;
}

/* What the points of the group to come lack, by the last values, of which there is one more than a
 * multiple of four. */
PLANISH_INLINED void find_lacking(PlanishHalfPoints *points)
{
  const float *value = points->values + points->at;
  const float *weights = points->weights;
  const float *last = value + points->groups - 1;
  PlanishEight sum[2] = {planish_eight_all(0.0F), planish_eight_all(0.0F)};
  for (; value != last; value += 4) {
    for (size_t i = 0; i < 4; ++i) {
      sum[i % 2] += value[i] * planish_eight_load(weights + i * GROUP);
    }
    weights += (size_t)4 * GROUP;
  }
  sum[0] += *last * planish_eight_load(weights);
  planish_eight_store(points->lacking, sum[0] + sum[1]);
}

/* A group is complete. */
PLANISH_INLINED void end_group(PlanishHalfPoints *points, const float *last)
{
  if (points->at == RUN) {
    memmove(points->values, points->values + RUN, points->groups * sizeof(float));
    points->at = 0;
  }
  points->values[points->at + points->groups] = narrow_value(points, last);
  ++points->at;
  find_lacking(points);
}

PLANISH_INLINED void add_lacking(const PlanishHalfPoints *points, float *halves, uint32_t frames)
{
  if (frames == GROUP) {
    planish_eight_store(halves, planish_eight_load(halves) + planish_eight_load(points->lacking));
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    halves[i] += points->lacking[points->phase + i];
  }
}

PLANISH_WIDE void planish_half_points_process(PlanishHalfPoints *points, const float *newest,
                                              float *halves, uint32_t frames)
{
  for (uint32_t at = 0; at < frames; at += AT_ONCE) {
    find_near(points, newest + at, halves + at);
  }
  if (points->groups == 0) {
    return;
  }
  for (uint32_t n = 0; n < frames;) {
    const uint32_t left = GROUP - points->phase;
    const uint32_t part = left < frames - n ? left : frames - n;
    add_lacking(points, halves + n, part);
    n += part;
    points->phase = (points->phase + part) % GROUP;
    if (points->phase == 0) {
      end_group(points, newest + n - 1);
    }
  }
}
