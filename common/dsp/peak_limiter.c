#include "common/dsp/peak_limiter.h"

#include "common/dsp/lanes_maths.h"
#include "common/dsp/largest.h"
#include "common/dsp/maths.h"
#include "common/dsp/ring.h"
#include "common/dsp/wide.h"

#include <string.h>

_Static_assert(PLANISH_GRID % PLANISH_LANES == 0, "a block is worked on in whole registers");

/* Working memory of one block. */
typedef struct {
  double peaks[2][PLANISH_GRID];
  double need[2][PLANISH_GRID];
  double lift[PLANISH_GRID];
  double reduction[2][2][PLANISH_GRID]; /* [path][channel] */
  double lifted[2][PLANISH_GRID];       /* [path] */
  double slow_share[PLANISH_GRID];
} Scratch;

/* What the second path is doing. */
typedef enum { PHASE_REST, PHASE_WARM_UP, PHASE_SETTLE, PHASE_FADE } Phase;

static uint32_t at_least_one(uint32_t frames)
{
  return frames > 0 ? frames : 1;
}

static uint32_t power_of_two(uint32_t at_least)
{
  uint32_t size = 1;
  while (size < at_least) {
    size *= 2;
  }
  return size;
}

static uint32_t grids_of(uint32_t frames)
{
  return (frames + PLANISH_GRID - 1) / PLANISH_GRID;
}

uint32_t planish_peak_limiter_latency(double rate, const PlanishPeakLimiterConfig *config)
{
  return planish_true_peak_delay(config->taps) +
         at_least_one(planish_frames_of(config->max_lookahead, rate)) - 1;
}

void planish_peak_limiter_setup(PlanishPeakLimiter *limiter, PlanishArena *arena, double rate,
                                const PlanishPeakLimiterConfig *config)
{
  *limiter = (PlanishPeakLimiter){.rate = rate};
  limiter->max_lookahead = at_least_one(planish_frames_of(config->max_lookahead, rate));
  limiter->max_hold = planish_frames_of(config->max_hold, rate);
  limiter->latency = planish_peak_limiter_latency(rate, config);
  const uint32_t need_size = power_of_two(limiter->max_lookahead + PLANISH_GRID);
  limiter->need_mask = need_size - 1;
  for (uint32_t c = 0; c < 2; ++c) {
    planish_true_peak_setup(limiter->detector + c, arena, config->taps);
    planish_delay_setup(limiter->delay + c, arena, limiter->latency, PLANISH_GRID);
    limiter->need[c] = planish_arena_take(arena, need_size, sizeof(double));
    limiter->peaks[c] = planish_arena_take(arena, need_size, sizeof(double));
    planish_gain_path_setup(limiter->path + c, arena, limiter->max_lookahead, limiter->max_hold);
  }
  limiter->lift = planish_arena_take(arena, need_size, sizeof(double));
  /* One more than the detector's delay covers: the grid interval under way. */
  limiter->ceiling_count = grids_of(planish_true_peak_delay(config->taps)) + 1;
  limiter->ceilings = planish_arena_take(arena, limiter->ceiling_count, sizeof(double));
  planish_glide_setup(&limiter->link, arena, rate, PLANISH_GLIDE_MS);
  planish_glide_setup(&limiter->slow_share, arena, rate, PLANISH_GLIDE_MS);
  planish_quiet_lift_setup(&limiter->quiet_lift, rate);
  limiter->fresh = true;
}

void planish_peak_limiter_reset(PlanishPeakLimiter *limiter)
{
  const size_t need_bytes = (limiter->need_mask + (size_t)1) * sizeof(double);
  for (uint32_t c = 0; c < 2; ++c) {
    planish_true_peak_reset(limiter->detector + c);
    planish_delay_reset(limiter->delay + c);
    memset(limiter->need[c], 0, need_bytes);
    memset(limiter->peaks[c], 0, need_bytes);
  }
  memset(limiter->lift, 0, need_bytes);
  planish_quiet_lift_reset(&limiter->quiet_lift);
  limiter->now = 0;
  limiter->current = 0;
  limiter->change = 0;
  limiter->lift_tail = 0;
  limiter->ceiling_at = 0;
  limiter->fresh = true;
}

static uint32_t wanted_lookahead(const PlanishPeakLimiter *limiter)
{
  const uint32_t frames = planish_frames_of(limiter->settings.lookahead, limiter->rate);
  return at_least_one(frames < limiter->max_lookahead ? frames : limiter->max_lookahead);
}

static uint32_t wanted_hold(const PlanishPeakLimiter *limiter)
{
  const uint32_t frames = planish_frames_of(limiter->settings.hold, limiter->rate);
  return frames < limiter->max_hold ? frames : limiter->max_hold;
}

static void stand_on_settings(PlanishPeakLimiter *limiter)
{
  const PlanishPeakLimiterSettings *settings = &limiter->settings;
  planish_glide_jump(&limiter->link, settings->link);
  planish_glide_jump(&limiter->slow_share, settings->slow_share);
  planish_gain_path_reset(limiter->path, wanted_lookahead(limiter), wanted_hold(limiter));
  planish_quiet_lift_set(&limiter->quiet_lift, settings->lift, settings->lift_floor, true);
  for (uint32_t i = 0; i < limiter->ceiling_count; ++i) {
    limiter->ceilings[i] = settings->ceiling;
  }
  limiter->fresh = false;
}

void planish_peak_limiter_set(PlanishPeakLimiter *limiter,
                              const PlanishPeakLimiterSettings *settings)
{
  limiter->settings = *settings;
  limiter->times = planish_slow_fast_times(settings->release, limiter->rate);
  if (limiter->fresh) {
    stand_on_settings(limiter);
    return;
  }
  planish_glide_set(&limiter->link, settings->link);
  planish_glide_set(&limiter->slow_share, settings->slow_share);
  limiter->path[0].hold_target = wanted_hold(limiter);
  limiter->path[1].hold_target = wanted_hold(limiter);
  if (settings->lift > 0.0 && limiter->lift_tail == 0) {
    planish_quiet_lift_reset(&limiter->quiet_lift);
  }
  planish_quiet_lift_set(&limiter->quiet_lift, settings->lift, settings->lift_floor, false);
}

/* Which phase grid interval `change` of a change of look-ahead falls into, and how many intervals
 * of that phase came before it. */
static Phase phase_of(const PlanishPeakLimiter *limiter, uint32_t *before)
{
  if (limiter->change == 0) {
    return PHASE_REST;
  }
  const PlanishGainPath *next = limiter->path + (1 - limiter->current);
  const uint32_t warm_up = grids_of(next->lookahead + limiter->max_hold);
  const uint32_t settle = grids_of(next->lookahead);
  *before = limiter->change - 1;
  if (*before < warm_up) {
    return PHASE_WARM_UP;
  }
  *before -= warm_up;
  if (*before < settle) {
    return PHASE_SETTLE;
  }
  *before -= settle;
  return PHASE_FADE;
}

static uint32_t fade_grids(const PlanishPeakLimiter *limiter)
{
  return at_least_one(grids_of(planish_frames_of(PLANISH_GLIDE_MS, limiter->rate)));
}

/* At a grid frame: starts a change of look-ahead, leads it to its next step, or ends it. */
static void step_change(PlanishPeakLimiter *limiter)
{
  PlanishGainPath *next = limiter->path + (1 - limiter->current);
  const PlanishGainPath *path = limiter->path + limiter->current;
  if (limiter->change == 0) {
    const uint32_t wanted = wanted_lookahead(limiter);
    if (wanted != path->lookahead) {
      planish_gain_path_reset(next, wanted, path->hold);
      next->hold_target = path->hold_target;
      limiter->change = 1;
    }
    return;
  }
  ++limiter->change;
  uint32_t before = 0;
  const Phase phase = phase_of(limiter, &before);
  if (phase == PHASE_SETTLE && before == 0) {
    memcpy(next->release, path->release, sizeof next->release);
  }
  if (phase == PHASE_FADE && before == fade_grids(limiter)) {
    limiter->current = 1 - limiter->current;
    limiter->change = 0;
  }
}

static void step_ceiling(PlanishPeakLimiter *limiter)
{
  limiter->ceilings[limiter->ceiling_at] = limiter->settings.ceiling;
  limiter->ceiling_at = (limiter->ceiling_at + 1) % limiter->ceiling_count;
  limiter->ceiling = limiter->ceilings[0];
  for (uint32_t i = 1; i < limiter->ceiling_count; ++i) {
    limiter->ceiling = planish_min(limiter->ceiling, limiter->ceilings[i]);
  }
}

static void step_lift(PlanishPeakLimiter *limiter)
{
  if (planish_quiet_lift_is_on(&limiter->quiet_lift)) {
    limiter->lift_tail = grids_of(2 * limiter->max_lookahead) + 2;
  } else if (limiter->lift_tail > 0) {
    --limiter->lift_tail;
  }
}

static void at_grid_frame(PlanishPeakLimiter *limiter)
{
  step_ceiling(limiter);
  step_change(limiter);
  step_lift(limiter);
  const double lift = planish_max(limiter->quiet_lift.amount, limiter->quiet_lift.target);
  /* A hair lower than exact: what is let through here is found to need nothing below. */
  limiter->threshold = planish_gain_of(limiter->ceiling - lift) * (1.0 - 1e-12);
}

static void fill(double *values, double value, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    values[i] = value;
  }
}

/* The values of a glide over a block. */
static void follow(PlanishGlide *glide, double *values, uint32_t frames)
{
  if (!planish_glide_is_moving(glide)) {
    fill(values, glide->target, frames);
    return;
  }
  for (uint32_t i = 0; i < frames; ++i) {
    values[i] = planish_glide_next(glide);
  }
}

static void link_channels(PlanishPeakLimiter *limiter, double need[2][PLANISH_GRID],
                          uint32_t frames)
{
  double link[PLANISH_GRID];
  follow(&limiter->link, link, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    const double most = planish_max(need[0][i], need[1][i]);
    for (uint32_t c = 0; c < 2; ++c) {
      need[c][i] = link[i] >= 1.0 ? most : need[c][i] + link[i] * (most - need[c][i]);
    }
  }
}

/* What peaks over the threshold need, in dB. All of PLANISH_GRID values are there. */
PLANISH_WIDE static void need_of(const double *peaks, const double *lift, double threshold,
                                 double ceiling, double *need)
{
  const PlanishFour zero = planish_all(0.0);
  for (uint32_t i = 0; i < PLANISH_GRID; i += PLANISH_LANES) {
    const PlanishFour peak = planish_four_load(peaks + i);
    const PlanishFourMask over = (PlanishFourMask)(peak > planish_all(threshold));
    PlanishFour wanted = zero;
    if (planish_four_any(over)) {
      const PlanishFour level = planish_four_level_of(peak) + planish_four_load(lift + i);
      wanted = level - planish_all(ceiling);
      wanted = planish_four_choose((PlanishFourMask)(wanted > zero), wanted, zero);
    }
    planish_four_store(need + i, planish_four_where(over, wanted));
  }
}

/* What each frame needs, linked, and its lift; into the rings. */
static void find_needs(PlanishPeakLimiter *limiter, Scratch *scratch, double *const *audio,
                       uint32_t channels, uint32_t frames)
{
  const uint32_t size = limiter->need_mask + 1;
  double *const peaks[2] = {scratch->peaks[0], scratch->peaks[1]};
  for (uint32_t c = 0; c < channels; ++c) {
    planish_true_peak_process(limiter->detector + c, audio[c], peaks[c], frames);
  }
  memset(scratch->lift, 0, sizeof scratch->lift);
  if (planish_quiet_lift_is_on(&limiter->quiet_lift)) {
    planish_quiet_lift_process(&limiter->quiet_lift, audio, peaks, channels, frames, scratch->lift);
  }
  bool any = false;
  for (uint32_t c = 0; c < channels; ++c) {
    memset(peaks[c] + frames, 0, (PLANISH_GRID - frames) * sizeof(double));
    if (planish_largest(peaks[c], frames) > limiter->threshold) {
      need_of(peaks[c], scratch->lift, limiter->threshold, limiter->ceiling, scratch->need[c]);
      any = true;
    } else {
      memset(scratch->need[c], 0, sizeof scratch->need[c]);
    }
  }
  if (channels == 2 && (any || planish_glide_is_moving(&limiter->link))) {
    link_channels(limiter, scratch->need, frames);
  }
  planish_ring_put(limiter->lift, size, limiter->now, scratch->lift, frames);
  for (uint32_t c = 0; c < channels; ++c) {
    planish_ring_put(limiter->need[c], size, limiter->now, scratch->need[c], frames);
    planish_ring_put(limiter->peaks[c], size, limiter->now, peaks[c], frames);
  }
}

/* Shorter look-aheads see each need later, so that all paths end on the same audio. */
static void fetch_delayed(const PlanishPeakLimiter *limiter, Scratch *scratch, uint32_t lookahead,
                          uint32_t channels, uint32_t frames)
{
  const uint32_t size = limiter->need_mask + 1;
  const uint32_t from = limiter->now - (limiter->max_lookahead - lookahead);
  planish_ring_get(limiter->lift, size, from, scratch->lift, frames);
  for (uint32_t c = 0; c < channels; ++c) {
    planish_ring_get(limiter->need[c], size, from, scratch->need[c], frames);
  }
}

/* Mixes the reductions of the path that takes over into those of the path in use. Each is enough,
 * so any mean of them is. */
static void cross_fade(PlanishPeakLimiter *limiter, Scratch *scratch, uint32_t before,
                       const PlanishGainPathBlock *block)
{
  const double length = (double)fade_grids(limiter) * PLANISH_GRID;
  const uint32_t start = before * PLANISH_GRID + limiter->now % PLANISH_GRID;
  for (uint32_t i = 0; i < block->frames; ++i) {
    const double weight = planish_smoothstep((start + i) / length);
    for (uint32_t c = 0; c < block->channels; ++c) {
      double *reduction = scratch->reduction[0][c] + i;
      *reduction += weight * (scratch->reduction[1][c][i] - *reduction);
    }
    if (block->lifting) {
      scratch->lifted[0][i] += weight * (scratch->lifted[1][i] - scratch->lifted[0][i]);
    }
  }
}

/* Reductions and lift of this block into reduction[0] and lifted[0]. */
static void run_paths(PlanishPeakLimiter *limiter, Scratch *scratch, uint32_t channels,
                      uint32_t frames)
{
  const PlanishGainPathBlock block = {
      .times = limiter->times,
      .slow_share = scratch->slow_share,
      .channels = channels,
      .frames = frames,
      .lifting = limiter->lift_tail > 0,
  };
  double *const need[2] = {scratch->need[0], scratch->need[1]};
  uint32_t before = 0;
  const Phase phase = phase_of(limiter, &before);
  follow(&limiter->slow_share, scratch->slow_share, frames);
  for (uint32_t p = 0; p < (phase == PHASE_REST ? 1U : 2U); ++p) {
    PlanishGainPath *path = limiter->path + (limiter->current ^ p);
    double *const reduction[2] = {scratch->reduction[p][0], scratch->reduction[p][1]};
    fetch_delayed(limiter, scratch, path->lookahead, channels, frames);
    if (p == 1 && phase == PHASE_WARM_UP) {
      planish_gain_path_warm_up(path, &block, need, scratch->lift);
    } else {
      planish_gain_path_process(path, &block, need, scratch->lift, reduction, scratch->lifted[p]);
    }
  }
  if (phase == PHASE_FADE) {
    cross_fade(limiter, scratch, before, &block);
  }
}

/* Factors of gains in dB; all of PLANISH_GRID values are there. */
PLANISH_WIDE static void factors_of(double *gains)
{
  for (uint32_t i = 0; i < PLANISH_GRID; i += PLANISH_LANES) {
    planish_four_store(gains + i, planish_four_gain_of(planish_four_load(gains + i)));
  }
}

/* Gains of one channel, dB to begin with. Linked channels often share theirs, and mostly nothing is
 * asked for. */
static void find_gains(const PlanishPeakLimiter *limiter, const Scratch *scratch, uint32_t c,
                       uint32_t frames, double gains[2][PLANISH_GRID])
{
  const double *const reduction = scratch->reduction[0][c];
  const bool lifting = limiter->lift_tail > 0;
  if (c == 1 && memcmp(reduction, scratch->reduction[0][0], frames * sizeof *reduction) == 0) {
    memcpy(gains[1], gains[0], frames * sizeof *gains[0]);
    return;
  }
  fill(gains[c], 0.0, PLANISH_GRID);
  for (uint32_t i = 0; i < frames; ++i) {
    gains[c][i] = (lifting ? scratch->lifted[0][i] : 0.0) - reduction[i];
  }
  if (planish_all_equal(gains[c], 0.0, frames)) {
    fill(gains[c], 1.0, frames);
  } else {
    factors_of(gains[c]);
  }
}

/* Returns the largest reduction of this channel's frames. */
static double apply_gains(PlanishPeakLimiter *limiter, const Scratch *scratch, double *audio,
                          const double *gains, uint32_t c, uint32_t frames)
{
  const uint32_t from = limiter->now - (limiter->max_lookahead - 1);
  double peaks[PLANISH_GRID];
  planish_ring_get(limiter->peaks[c], limiter->need_mask + 1, from, peaks, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    peaks[i] *= gains[i];
    audio[i] *= gains[i];
  }
  limiter->output_peak = planish_max(limiter->output_peak, planish_largest(peaks, frames));
  return planish_largest(scratch->reduction[0][c], frames);
}

double planish_peak_limiter_process(PlanishPeakLimiter *limiter, double *const *audio,
                                    double *const *reference, uint32_t channels, uint32_t frames)
{
  channels = channels == 2 ? 2 : 1;
  Scratch scratch;
  double gains[2][PLANISH_GRID];
  double most = 0.0;
  if (limiter->now % PLANISH_GRID == 0) {
    at_grid_frame(limiter);
  }
  find_needs(limiter, &scratch, audio, channels, frames);
  run_paths(limiter, &scratch, channels, frames);
  limiter->output_peak = 0.0;
  for (uint32_t c = 0; c < channels; ++c) {
    planish_delay_process(limiter->delay + c, audio[c], audio[c], limiter->latency, frames);
    if (reference && reference[c]) {
      memcpy(reference[c], audio[c], frames * sizeof(double));
    }
    find_gains(limiter, &scratch, c, frames, gains);
    most = planish_max(most, apply_gains(limiter, &scratch, audio[c], gains[c], c, frames));
  }
  limiter->now += frames;
  return most;
}
