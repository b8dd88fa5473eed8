#include "common/dsp/gain_path.h"

#include "common/dsp/glide.h"

#include <stdbool.h>
#include <string.h>

void planish_gain_path_setup(PlanishGainPath *path, PlanishArena *arena, uint32_t max_lookahead,
                             uint32_t max_hold)
{
  *path = (PlanishGainPath){0};
  for (uint32_t c = 0; c < 2; ++c) {
    planish_sliding_max_setup(path->held + c, arena, max_lookahead + max_hold);
    planish_box_window_setup(path->window + c, arena, max_lookahead);
  }
  planish_sliding_max_setup(&path->least_lift, arena, max_lookahead);
  planish_box_window_setup(&path->lift_window, arena, max_lookahead);
}

void planish_gain_path_reset(PlanishGainPath *path, uint32_t lookahead, uint32_t hold)
{
  for (uint32_t c = 0; c < 2; ++c) {
    planish_sliding_max_reset(path->held + c);
    planish_box_window_reset(path->window + c, lookahead);
    path->release[c] = (PlanishSlowFastRelease){0.0, 0.0};
    path->zeros[c] = path->held[c].max_length;
  }
  planish_sliding_max_reset(&path->least_lift);
  planish_box_window_reset(&path->lift_window, lookahead);
  path->lookahead = lookahead;
  path->hold = hold;
  path->hold_target = hold;
}

/* One frame nearer to the wanted hold. Growing by one a frame, the window's start stands still, so
 * no peak that had left comes back. */
static uint32_t step_hold(uint32_t hold, uint32_t target)
{
  return hold < target ? hold + 1 : (hold > target ? hold - 1 : hold);
}

/* The largest needs of look-ahead and hold, in place. */
static void hold_needs(PlanishGainPath *path, uint32_t c, double *need, uint32_t frames)
{
  uint32_t hold = path->hold;
  uint32_t i = 0;
  for (; i < frames && hold != path->hold_target; ++i) {
    hold = step_hold(hold, path->hold_target);
    need[i] = planish_sliding_max_next(path->held + c, need[i], path->lookahead + hold);
  }
  planish_sliding_max_process(path->held + c, need + i, frames - i, path->lookahead + hold);
}

/* Whether no frame needs anything and none did for as long as is remembered: then there is nothing
 * to hold, and the maxima may stand. */
static bool needs_nothing(PlanishGainPath *path, uint32_t c, const double *need, uint32_t frames)
{
  uint32_t zeros = path->zeros[c];
  const uint32_t before = zeros;
  for (uint32_t i = 0; i < frames; ++i) {
    zeros = need[i] == 0.0 ? zeros + 1 : 0;
  }
  const uint32_t longest = path->held[c].max_length;
  path->zeros[c] = zeros < longest ? zeros : longest;
  return before == longest && zeros == before + frames;
}

static void process_channel(PlanishGainPath *path, const PlanishGainPathBlock *block, uint32_t c,
                            const double *need, double *reduction)
{
  PlanishSlowFastRelease *release = path->release + c;
  memcpy(reduction, need, block->frames * sizeof *reduction);
  if (!needs_nothing(path, c, need, block->frames)) {
    hold_needs(path, c, reduction, block->frames);
  } else if (release->slow == 0.0 && release->fast == 0.0) {
    planish_box_window_process(path->window + c, reduction, block->frames);
    return;
  }
  for (uint32_t i = 0; i < block->frames; ++i) {
    reduction[i] =
        planish_slow_fast_next(release, &block->times, reduction[i], block->slow_share[i]);
  }
  planish_box_window_process(path->window + c, reduction, block->frames);
}

static void advance_hold(PlanishGainPath *path, uint32_t frames)
{
  for (uint32_t i = 0; i < frames && path->hold != path->hold_target; ++i) {
    path->hold = step_hold(path->hold, path->hold_target);
  }
}

static void process_lift(PlanishGainPath *path, uint32_t frames, const double *lift,
                         double *lift_out)
{
  for (uint32_t i = 0; i < frames; ++i) {
    lift_out[i] = -lift[i];
  }
  planish_sliding_max_process(&path->least_lift, lift_out, frames, path->lookahead);
  planish_box_window_process(&path->lift_window, lift_out, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    lift_out[i] = -lift_out[i];
  }
}

void planish_gain_path_process(PlanishGainPath *path, const PlanishGainPathBlock *block,
                               double *const *need, const double *lift, double *const *reduction,
                               double *lift_out)
{
  for (uint32_t c = 0; c < block->channels; ++c) {
    process_channel(path, block, c, need[c], reduction[c]);
  }
  advance_hold(path, block->frames);
  if (block->lifting) {
    process_lift(path, block->frames, lift, lift_out);
  }
}

void planish_gain_path_warm_up(PlanishGainPath *path, const PlanishGainPathBlock *block,
                               double *const *need, const double *lift)
{
  double ignored[PLANISH_GRID];
  for (uint32_t c = 0; c < block->channels; ++c) {
    memcpy(ignored, need[c], block->frames * sizeof *ignored);
    if (!needs_nothing(path, c, ignored, block->frames)) {
      hold_needs(path, c, ignored, block->frames);
    }
  }
  advance_hold(path, block->frames);
  for (uint32_t i = 0; block->lifting && i < block->frames; ++i) {
    planish_sliding_max_next(&path->least_lift, -lift[i], path->lookahead);
  }
}
