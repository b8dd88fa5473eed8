#include "harness/sheet/sheet_less.h"

#include <stdlib.h>

bool planish_sheet_is_gone(const PlanishSheet *sheet, const bool *without, uint32_t stage)
{
  for (int n = (int)stage; without != NULL && n >= 0;
       n = planish_sheet_branch_of(sheet, (uint32_t)n)) {
    if (without[n]) {
      return true;
    }
  }
  return false;
}

/* How many stages ahead of one were left out. */
static uint32_t gone_before(const PlanishSheet *sheet, const bool *without, uint32_t stage)
{
  uint32_t gone = 0;
  for (uint32_t n = 0; n < stage; ++n) {
    gone += planish_sheet_is_gone(sheet, without, n) ? 1 : 0;
  }
  return gone;
}

bool planish_sheet_less(PlanishSheet *less, const PlanishSheet *sheet, const bool *without)
{
  *less = *sheet;
  less->has_loudness = less->has_ceiling = less->has_by = false;
  less->ceiling_count = 0;
  less->stage_count = less->automation_count = 0;
  less->stages = calloc((size_t)sheet->stage_count + 1, sizeof *less->stages);
  less->automation = calloc((size_t)sheet->automation_count + 1, sizeof *less->automation);
  if (less->stages == NULL || less->automation == NULL) {
    return false;
  }
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    if (!planish_sheet_is_gone(sheet, without, n)) {
      PlanishSheetStage *stage = &less->stages[less->stage_count++];
      *stage = sheet->stages[n];
      stage->first -= gone_before(sheet, without, stage->first);
    }
  }
  for (uint32_t n = 0; n < sheet->automation_count; ++n) {
    const uint32_t stage = sheet->automation[n].control.stage;
    if (!planish_sheet_is_gone(sheet, without, stage)) {
      less->automation[less->automation_count] = sheet->automation[n];
      less->automation[less->automation_count++].control.stage =
          stage - gone_before(sheet, without, stage);
    }
  }
  return true;
}

void planish_sheet_less_release(PlanishSheet *less)
{
  free(less->stages);
  free(less->automation);
  less->stages = NULL;
  less->automation = NULL;
}
