#include "harness/render/automation.h"

#include <stdlib.h>

/* The stage's own value is the point at time 0 unless the sheet has one there. */
static bool fill(PlanishMove *move, const PlanishAutomation *automation, float value, double rate)
{
  move->port = automation->control.port;
  move->points = calloc((size_t)automation->count + 1, sizeof *move->points);
  if (move->points == NULL) {
    return false;
  }
  move->points[move->count++] = (PlanishMovePoint){.value = (double)value, .step = true};
  for (uint32_t n = 0; n < automation->count; ++n) {
    const PlanishAutomationPoint *point = &automation->points[n];
    move->points[move->count++] = (PlanishMovePoint){
        .frame = planish_sheet_frames(point->at, rate),
        .value = (double)point->value,
        .step = point->step,
    };
  }
  return true;
}

bool planish_moves_new(PlanishMoves *moves, const PlanishSheet *sheet, uint32_t stage, double rate,
                       PlanishError *error)
{
  *moves = (PlanishMoves){0};
  for (uint32_t n = 0; n < sheet->automation_count; ++n) {
    const PlanishAutomation *automation = &sheet->automation[n];
    if (automation->control.stage != stage) {
      continue;
    }
    if (moves->moves == NULL) {
      moves->moves = calloc(sheet->automation_count, sizeof *moves->moves);
    }
    if (moves->moves == NULL ||
        !fill(&moves->moves[moves->count++], automation,
              sheet->stages[stage].values[automation->control.port], rate)) {
      planish_moves_free(moves);
      return planish_fail_memory(error);
    }
  }
  return true;
}

void planish_moves_free(PlanishMoves *moves)
{
  for (uint32_t n = 0; moves->moves != NULL && n < moves->count; ++n) {
    free(moves->moves[n].points);
  }
  free(moves->moves);
  *moves = (PlanishMoves){0};
}

/* The point that the control is on its way to in a straight line; NULL: it stands. */
static const PlanishMovePoint *line_to(const PlanishMove *move)
{
  const PlanishMovePoint *now = &move->points[move->at];
  const PlanishMovePoint *next = move->at + 1 < move->count ? now + 1 : NULL;
  return next != NULL && !next->step && next->value != now->value ? next : NULL;
}

float planish_move_value(PlanishMove *move, int64_t offset, uint64_t frame)
{
  const int64_t in_mix = (int64_t)frame - offset;
  while (move->at + 1 < move->count &&
         (int64_t)move->points[move->at + 1].frame <= (in_mix > 0 ? in_mix : 0)) {
    move->at += 1;
  }
  const PlanishMovePoint *now = &move->points[move->at];
  const PlanishMovePoint *next = line_to(move);
  /* What was handed over last, wherever a block begins. */
  const int64_t held = (int64_t)(frame / PLANISH_AUTOMATION_GRID * PLANISH_AUTOMATION_GRID) -
                       offset - (int64_t)now->frame;
  if (next == NULL || held <= 0) {
    return (float)now->value;
  }
  const double share = (double)held / (double)(next->frame - now->frame);
  return (float)(now->value + share * (next->value - now->value));
}

static uint64_t next_of(const PlanishMove *move, int64_t offset, uint64_t frame)
{
  if (move->at + 1 == move->count) {
    return UINT64_MAX;
  }
  const int64_t point = offset + (int64_t)move->points[move->at + 1].frame;
  /* A line from time 0 stands until the mix has come. */
  const int64_t from = (int64_t)frame > offset ? (int64_t)frame : offset;
  const int64_t grid = (from / PLANISH_AUTOMATION_GRID + 1) * PLANISH_AUTOMATION_GRID;
  return (uint64_t)(line_to(move) != NULL && grid < point ? grid : point);
}

uint64_t planish_moves_next(const PlanishMoves *moves, int64_t offset, uint64_t frame)
{
  uint64_t next = UINT64_MAX;
  for (uint32_t n = 0; n < moves->count; ++n) {
    const uint64_t own = next_of(&moves->moves[n], offset, frame);
    next = own < next ? own : next;
  }
  return next;
}
