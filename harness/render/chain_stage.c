#include "harness/render/chain_stage.h"

#include <math.h>
#include <stdlib.h>

static bool find_reports(PlanishChainStage *stage, const PlanishPlugin *plugin, PlanishError *error)
{
  stage->reports = calloc((size_t)plugin->port_count + 1, sizeof *stage->reports);
  if (stage->reports == NULL) {
    return planish_fail_memory(error);
  }
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    if (plugin->ports[n].kind == PLANISH_PLUGIN_CONTROL_OUTPUT && (int)n != plugin->latency) {
      stage->reports[stage->report_count++] =
          (PlanishReport){.port = n, .lowest = HUGE_VALF, .highest = -HUGE_VALF};
    }
  }
  return true;
}

bool planish_chain_stage_start(PlanishChainStage *stage, const PlanishSheet *sheet, uint32_t index,
                               double rate, PlanishError *error)
{
  const PlanishSheetStage *listed = &sheet->stages[index];
  stage->instance = planish_instance_new(listed->plugin, rate, error);
  if (stage->instance == NULL || !find_reports(stage, listed->plugin, error) ||
      !planish_moves_new(&stage->moves, sheet, index, rate, error)) {
    return false;
  }
  for (uint32_t port = 0; port < listed->plugin->port_count; ++port) {
    if (listed->plugin->ports[port].kind == PLANISH_PLUGIN_CONTROL_INPUT) {
      planish_instance_set_at(stage->instance, port, listed->values[port]);
    }
  }
  planish_instance_activate(stage->instance);
  /* A run of 0 frames takes the controls that latency depends on, and tells the latency. */
  planish_instance_run(stage->instance, NULL, NULL, 0);
  stage->latency = planish_instance_latency(stage->instance);
  return true;
}

bool planish_chain_stage_start_branch(PlanishChainStage *stage, const PlanishSheet *sheet,
                                      uint32_t index, double rate, uint32_t latency,
                                      PlanishError *error)
{
  stage->latency = latency;
  stage->branch =
      planish_branch_new(rate, sheet->stages[index].values, latency, PLANISH_CHAIN_BLOCK, error);
  return stage->branch != NULL && planish_moves_new(&stage->moves, sheet, index, rate, error);
}

void planish_chain_stage_stop(PlanishChainStage *stage)
{
  planish_instance_free(stage->instance);
  planish_branch_free(stage->branch);
  planish_moves_free(&stage->moves);
  free(stage->reports);
  *stage = (PlanishChainStage){0};
}

static bool check_output(const PlanishSheetStage *listed, const PlanishChainStage *stage,
                         float *const audio[2], uint32_t frames, PlanishError *error)
{
  const uint32_t latency = planish_instance_latency(stage->instance);
  if (latency != stage->latency) {
    return planish_fail(
        error, PLANISH_BAD_USE,
        "the latency changed from %u to %u frames: stage %s (%s): keep the controls "
        "that change it where they are",
        (unsigned)stage->latency, (unsigned)latency, listed->name, listed->plugin->uri);
  }
  /* 0 times what is no number is no number. */
  float sum = 0.0f;
  for (uint32_t n = 0; n < frames; ++n) {
    sum += 0.0f * audio[0][n] + 0.0f * audio[1][n];
  }
  return isfinite(sum) || planish_fail(error, PLANISH_BAD_USE,
                                       "puts out what is no number: stage %s (%s): change its "
                                       "settings or use another",
                                       listed->name, listed->plugin->uri);
}

/* Hands over the values of `at`; how many of `frames` they hold for. */
static uint32_t move_controls(PlanishChainStage *stage, int64_t offset, uint64_t at,
                              uint32_t frames)
{
  for (uint32_t n = 0; n < stage->moves.count; ++n) {
    PlanishMove *move = &stage->moves.moves[n];
    const float value = planish_move_value(move, offset, at);
    if (stage->branch == NULL) {
      planish_instance_set_at(stage->instance, move->port, value);
    } else if (move->port == PLANISH_BRANCH_LEVEL) {
      planish_branch_set_level(stage->branch, value);
    }
  }
  const uint64_t next = planish_moves_next(&stage->moves, offset, at) - at;
  return next < frames ? (uint32_t)next : frames;
}

/* A trigger is pulled for so many frames: stages look at their controls every 32. */
#define TRIGGER_FRAMES 64

/* Pulls triggers that restart a measurement ahead of `start`; how many of `frames` that holds for.
 */
static uint32_t restart(PlanishChainStage *stage, const PlanishPlugin *plugin, uint64_t start,
                        uint64_t at, uint32_t frames)
{
  if (start < TRIGGER_FRAMES || at > start) {
    return frames;
  }
  const bool pull = at >= start - TRIGGER_FRAMES && at < start;
  for (uint32_t n = 0; n < plugin->port_count; ++n) {
    if (plugin->ports[n].restarts) {
      planish_instance_set_at(stage->instance, n, pull ? 1.0f : 0.0f);
    }
  }
  const uint64_t next = at < start - TRIGGER_FRAMES ? start - TRIGGER_FRAMES : start;
  return next > at && next - at < frames ? (uint32_t)(next - at) : frames;
}

bool planish_chain_stage_run(PlanishChainStage *stage, const PlanishSheetStage *listed,
                             PlanishChainPlace place, float *const in[2], float *const out[2],
                             uint32_t frames, PlanishError *error)
{
  for (uint32_t done = 0; done < frames;) {
    const uint64_t at = place.at + done;
    const uint32_t left = restart(stage, listed->plugin, place.start, at, frames - done);
    const uint32_t count = move_controls(stage, place.zero, at, left);
    planish_instance_run(stage->instance, (const float *[]){in[0] + done, in[1] + done},
                         (float *[]){out[0] + done, out[1] + done}, count);
    done += count;
  }
  return check_output(listed, stage, out, frames, error);
}

void planish_chain_stage_add(PlanishChainStage *stage, int64_t offset, uint64_t at,
                             float *const result[2], float *const out[2], uint32_t frames)
{
  for (uint32_t done = 0; done < frames;) {
    const uint32_t count = move_controls(stage, offset, at + done, frames - done);
    planish_branch_add(stage->branch, (float *[]){result[0] + done, result[1] + done},
                       (float *[]){out[0] + done, out[1] + done}, count);
    done += count;
  }
}
