#include "harness/render/shared_stages.h"

#include <string.h>

static bool same_points(const PlanishAutomation *one, const PlanishAutomation *other)
{
  if (one == NULL || other == NULL || one->count != other->count) {
    return one == other;
  }
  bool same = true;
  for (uint32_t n = 0; same && n < one->count; ++n) {
    const PlanishAutomationPoint *a = &one->points[n];
    const PlanishAutomationPoint *b = &other->points[n];
    same = a->at.value == b->at.value && a->at.in_frames == b->at.in_frames &&
           a->value == b->value && a->step == b->step;
  }
  return same;
}

static bool same_stage(const PlanishSheet *one, const PlanishSheet *other, uint32_t stage)
{
  const PlanishSheetStage *a = &one->stages[stage];
  const PlanishSheetStage *b = &other->stages[stage];
  bool same = a->plugin == b->plugin && a->first == b->first && a->depth == b->depth;
  for (uint32_t port = 0; same && port < a->plugin->port_count; ++port) {
    const PlanishControl control = {.stage = stage, .port = port};
    same = a->values[port] == b->values[port] &&
           same_points(planish_sheet_automation(one, &control),
                       planish_sheet_automation(other, &control));
  }
  return same;
}

uint32_t planish_shared_stages(const PlanishSheet *one, const PlanishSheet *other)
{
  uint32_t n = 0;
  uint32_t whole = 0;
  while (n < one->stage_count && n < other->stage_count && same_stage(one, other, n)) {
    n += 1;
    /* Only on the main path is there a place between two stages. */
    whole = one->stages[n - 1].depth == 0 ? n : whole;
  }
  return whole;
}
