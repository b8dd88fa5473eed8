#include "common/dsp/peak_limiter.h"

#include "common/dsp/maths.h"

#include <string.h>

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

static void link_channels(PlanishPeakLimiter *limiter, double need[2][PLANISH_GRID],
                          uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    const double link = planish_glide_next(&limiter->link);
    const double most = planish_max(need[0][i], need[1][i]);
    for (uint32_t c = 0; c < 2; ++c) {
      need[c][i] = link >= 1.0 ? most : need[c][i] + link * (most - need[c][i]);
    }
  }
}

/* What each frame needs, linked, and its lift; into the rings. */
static void find_needs(PlanishPeakLimiter *limiter, Scratch *scratch, double *const *audio,
                       uint32_t channels, uint32_t frames)
{
  double *const peaks[2] = {scratch->peaks[0], scratch->peaks[1]};
  for (uint32_t c = 0; c < channels; ++c) {
    planish_true_peak_process(limiter->detector + c, audio[c], peaks[c], frames);
  }
  memset(scratch->lift, 0, sizeof scratch->lift);
  if (planish_quiet_lift_is_on(&limiter->quiet_lift)) {
    planish_quiet_lift_process(&limiter->quiet_lift, audio, peaks, channels, frames, scratch->lift);
  }
  for (uint32_t c = 0; c < channels; ++c) {
    for (uint32_t i = 0; i < frames; ++i) {
      const double peak = peaks[c][i];
      scratch->need[c][i] =
          peak <= limiter->threshold
              ? 0.0
              : planish_max(0.0, planish_level_of(peak) + scratch->lift[i] - limiter->ceiling);
    }
  }
  if (channels == 2) {
    link_channels(limiter, scratch->need, frames);
  }
  for (uint32_t i = 0; i < frames; ++i) {
    const uint32_t at = (limiter->now + i) & limiter->need_mask;
    limiter->lift[at] = scratch->lift[i];
    for (uint32_t c = 0; c < channels; ++c) {
      limiter->need[c][at] = scratch->need[c][i];
      limiter->peaks[c][at] = peaks[c][i];
    }
  }
}

/* Shorter look-aheads see each need later, so that all paths end on the same audio. */
static void fetch_delayed(const PlanishPeakLimiter *limiter, Scratch *scratch, uint32_t lookahead,
                          uint32_t channels, uint32_t frames)
{
  const uint32_t from = limiter->now - (limiter->max_lookahead - lookahead);
  for (uint32_t i = 0; i < frames; ++i) {
    const uint32_t at = (from + i) & limiter->need_mask;
    scratch->lift[i] = limiter->lift[at];
    for (uint32_t c = 0; c < channels; ++c) {
      scratch->need[c][i] = limiter->need[c][at];
    }
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
  for (uint32_t i = 0; i < frames; ++i) {
    scratch->slow_share[i] = planish_glide_next(&limiter->slow_share);
  }
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

/* Gains of one channel. Linked channels often share theirs, and most frames need none. */
static void find_gains(const PlanishPeakLimiter *limiter, const Scratch *scratch, uint32_t c,
                       uint32_t frames, double gains[2][PLANISH_GRID])
{
  const bool lifting = limiter->lift_tail > 0;
  for (uint32_t i = 0; i < frames; ++i) {
    const double reduction = scratch->reduction[0][c][i];
    const double gain = (lifting ? scratch->lifted[0][i] : 0.0) - reduction;
    if (c == 1 && reduction == scratch->reduction[0][0][i]) {
      gains[1][i] = gains[0][i];
    } else {
      gains[c][i] = gain == 0.0 ? 1.0 : planish_gain_of(gain);
    }
  }
}

/* Returns the largest reduction of this channel's frames. */
static double apply_gains(PlanishPeakLimiter *limiter, const Scratch *scratch, double *audio,
                          const double *gains, uint32_t c, uint32_t frames)
{
  const uint32_t from = limiter->now - (limiter->max_lookahead - 1);
  const double *peaks = limiter->peaks[c];
  double most = 0.0;
  double largest = limiter->output_peak;
  for (uint32_t i = 0; i < frames; ++i) {
    largest = planish_max(largest, peaks[(from + i) & limiter->need_mask] * gains[i]);
    most = planish_max(most, scratch->reduction[0][c][i]);
    audio[i] *= gains[i];
  }
  limiter->output_peak = largest;
  return most;
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
