#include "common/dsp/clip_pass.h"

#include "common/dsp/clip_means.h"
#include "common/dsp/largest.h"
#include "common/dsp/wide.h"

enum {
  TAPS = PLANISH_OVERSAMPLER_TAPS,
  PAST = PLANISH_CLIP_PASS_PAST,
  HELD = PAST + PLANISH_GRID,
  LANES = PLANISH_LANES
};

_Static_assert(PLANISH_GRID % PLANISH_LANES == 0, "a block is worked on in whole registers");

void planish_clip_pass_setup(PlanishClipPass *pass, PlanishArena *arena)
{
  *pass = (PlanishClipPass){0};
  pass->past = planish_arena_take(arena, HELD, sizeof(double));
  for (uint32_t e = 0; e < PLANISH_CLIP_PASS_ENGINES; ++e) {
    planish_block_decimator_setup(&pass->engines[e].decimator, arena);
  }
}

void planish_clip_pass_reset(PlanishClipPass *pass)
{
  memset(pass->past, 0, HELD * sizeof(double));
  pass->frames = 0;
  pass->largest = 0.0;
  planish_recent_peak_reset(&pass->recent, PAST);
  for (uint32_t e = 0; e < PLANISH_CLIP_PASS_ENGINES; ++e) {
    planish_clip_pass_restart(pass, e);
  }
}

void planish_clip_pass_restart(PlanishClipPass *pass, uint32_t engine)
{
  planish_block_decimator_reset(&pass->engines[engine].decimator);
  pass->engines[engine].knows_last = false;
}

void planish_clip_pass_push(PlanishClipPass *pass, const double *audio, uint32_t frames)
{
  memmove(pass->past, pass->past + pass->frames, PAST * sizeof(double));
  memcpy(pass->past + PAST, audio, frames * sizeof(double));
  pass->frames = frames;
  pass->largest =
      planish_recent_peak_next(&pass->recent, planish_largest_magnitude(audio, frames), frames);
}

/* One engine on one block. */
typedef struct {
  PlanishClipEngine *engine;
  const double *past; /* of the block's first frame: the span of the frame LANES + 1 before it
                         begins here */
  const PlanishBlockOversampler *filters;
  const PlanishClipCurves *curves;
  double *peaks;
  uint32_t frames;
} Work;

/* The points of four frames; one before the block's first if `at` is -LANES. */
PLANISH_INLINED void find_points(const Work *work, int32_t at, PlanishFour *fine, uint32_t ratio,
                                 bool wide)
{
  planish_interpolate_four(work->filters->up, work->past + (LANES + 1 + at), fine, TAPS, ratio,
                           wide);
}

/* The fine sample before the frame `at`, as it was or would have been worked out with the frames
 * before it. */
PLANISH_INLINED double last_before(const Work *work, uint32_t at, uint32_t ratio, bool wide)
{
  PlanishFour fine[PLANISH_OVERSAMPLER_MAX_RATIO];
  if (work->engine->knows_last) {
    return work->engine->last;
  }
  find_points(work, (int32_t)at - LANES, fine, ratio, wide);
  return fine[ratio - 1][LANES - 1];
}

/* Leaves 0 in the lanes of frames beyond the block. */
PLANISH_INLINED void keep_within(const Work *work, uint32_t at, PlanishFour *values, uint32_t count)
{
  if (at + LANES <= work->frames) {
    return;
  }
  PlanishFourMask mask = {0};
  for (uint32_t lane = 0; lane < LANES; ++lane) {
    mask[lane] = at + lane < work->frames ? UINT64_MAX : 0;
  }
  for (uint32_t i = 0; i < count; ++i) {
    values[i] = (PlanishFour)((PlanishFourMask)values[i] & mask);
  }
}

/* Raises the peaks of frames of which a point lies beyond the curve's start. */
PLANISH_INLINED void raise_peaks(const Work *work, uint32_t at, const PlanishFour *points,
                                 PlanishFour beyond, uint32_t ratio)
{
  PlanishFour most = planish_four_magnitude(points[0]);
  for (uint32_t p = 1; p <= ratio; ++p) {
    most = planish_four_max(most, planish_four_magnitude(points[p]));
  }
  const PlanishFour peaks = planish_four_load(work->peaks + at);
  const PlanishFourMask over = planish_four_less(planish_all(0.0), beyond);
  planish_four_store(work->peaks + at,
                     planish_four_choose(over, planish_four_max(peaks, most), peaks));
}

/* Clips the points of four frames and brings down what that takes. points[0]: the last ones of the
 * frames before them. */
PLANISH_INLINED void clip_points(const Work *work, uint32_t at, const PlanishFour *points,
                                 uint32_t ratio)
{
  const PlanishClipCurveLanes curve = planish_clip_curve_lanes(work->curves, at);
  PlanishFour beyond[1 + PLANISH_OVERSAMPLER_MAX_RATIO];
  PlanishFour means[PLANISH_OVERSAMPLER_MAX_RATIO];
  PlanishFour sum = planish_all(0.0);
  for (uint32_t p = 0; p <= ratio; ++p) {
    beyond[p] = planish_clip_beyond(&curve, points[p]);
    sum += beyond[p];
  }
  keep_within(work, at, &sum, 1);
  if ((sum[0] + sum[1]) + (sum[2] + sum[3]) == 0.0) {
    return;
  }
  raise_peaks(work, at, points, sum, ratio);
  if (work->curves->hard) {
    planish_clip_means(&curve, points, beyond, means, ratio, true);
  } else {
    planish_clip_means(&curve, points, beyond, means, ratio, false);
  }
  keep_within(work, at, means, ratio);
  planish_block_decimator_add(&work->engine->decimator, work->filters, means, at, ratio);
}

/* Whether any point of four frames, or the one before them, may lie beyond the curve. sizes: the
 * largest magnitudes of the stretches they look back on. */
PLANISH_INLINED bool may_clip(const Work *work, const double *sizes)
{
  double even = 0.0;
  double odd = work->filters->reach[PLANISH_REACH - 1] * sizes[PLANISH_REACH - 1];
  for (uint32_t s = 0; s + 1 < PLANISH_REACH; s += 2) {
    even += work->filters->reach[s] * sizes[s];
    odd += work->filters->reach[s + 1] * sizes[s + 1];
  }
  return even + odd > work->curves->lowest;
}

/* Inlined with `ratio` constant, so that the sums stay in registers. */
PLANISH_INLINED void clip_block(const Work *work, uint32_t ratio, bool wide)
{
  double sizes[HELD / LANES];
  for (uint32_t s = 1; s < HELD / LANES; ++s) {
    sizes[s] = planish_four_largest(
        planish_four_magnitude(planish_four_load(work->past + (size_t)s * LANES)));
  }
  for (uint32_t at = 0; at < work->frames; at += LANES) {
    if (!may_clip(work, sizes + 1 + at / LANES)) {
      work->engine->knows_last = false;
      continue;
    }
    PlanishFour points[1 + PLANISH_OVERSAMPLER_MAX_RATIO];
    const double last = last_before(work, at, ratio, wide);
    find_points(work, (int32_t)at, points + 1, ratio, wide);
    const PlanishFour ends = points[ratio];
    const uint32_t left = work->frames - at;
    points[0] = __builtin_shufflevector(planish_all(last), ends, 0, 4, 5, 6);
    work->engine->last = ends[left < LANES ? left - 1 : LANES - 1];
    work->engine->knows_last = true;
    clip_points(work, at, points, ratio);
  }
}

PLANISH_INLINED void clip_at(const Work *work, bool wide)
{
  if (work->filters->ratio == 4) {
    clip_block(work, 4, wide);
  } else if (work->filters->ratio == 8) {
    clip_block(work, 8, wide);
  } else {
    clip_block(work, 16, wide);
  }
}

PLANISH_WIDE_ALONE static void clip_wide(const Work *work)
{
  clip_at(work, true);
}

static void clip_plain(const Work *work)
{
  clip_at(work, false);
}

bool planish_clip_pass_residues(PlanishClipPass *pass, uint32_t engine,
                                const PlanishBlockOversampler *filters,
                                const PlanishClipCurves *curves, double *peaks, double *residues)
{
  PlanishClipEngine *const own = &pass->engines[engine];
  const Work work = {own, pass->past, filters, curves, peaks, pass->frames};
  if (pass->largest * filters->peak_gain <= curves->lowest) {
    own->knows_last = false;
  } else if (planish_is_wide()) {
    clip_wide(&work);
  } else {
    clip_plain(&work);
  }
  return planish_block_decimator_take(&own->decimator, residues, pass->frames);
}
