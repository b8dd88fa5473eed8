#include "common/dsp/gain_path.h"

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

static void process_channel(PlanishGainPath *path, const PlanishGainPathBlock *block, uint32_t c,
                            const double *need, double *reduction)
{
  uint32_t hold = path->hold;
  for (uint32_t i = 0; i < block->frames; ++i) {
    hold = step_hold(hold, path->hold_target);
    const double held = planish_sliding_max_next(path->held + c, need[i], path->lookahead + hold);
    reduction[i] =
        planish_slow_fast_next(path->release + c, &block->times, held, block->slow_share[i]);
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
    lift_out[i] = planish_sliding_max_next(&path->least_lift, -lift[i], path->lookahead);
  }
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
  for (uint32_t c = 0; c < block->channels; ++c) {
    uint32_t hold = path->hold;
    for (uint32_t i = 0; i < block->frames; ++i) {
      hold = step_hold(hold, path->hold_target);
      planish_sliding_max_next(path->held + c, need[c][i], path->lookahead + hold);
    }
  }
  advance_hold(path, block->frames);
  for (uint32_t i = 0; block->lifting && i < block->frames; ++i) {
    planish_sliding_max_next(&path->least_lift, -lift[i], path->lookahead);
  }
}
