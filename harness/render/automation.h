/* How the controls of one stage move over time, frame by frame.
 *
 * Frames are those of the stage, counted from its activation; `offset` is the one with which the
 * mix's first frame comes to it (under 0 where the stage begins later in the mix). A value is
 * handed over at each point's frame, and on a straight line at every PLANISH_AUTOMATION_GRID
 * frames: so what a stage gets does not depend on where blocks begin. Thread: one at a time an
 * object; value and next are real-time safe. Their frames only go up. */
#ifndef PLANISH_HARNESS_AUTOMATION_H
#define PLANISH_HARNESS_AUTOMATION_H

#include "harness/base/error.h"
#include "harness/sheet/sheet.h"

#include <stdint.h>

#define PLANISH_AUTOMATION_GRID 32 /* frames: that on which stages look at their controls */

typedef struct {
  uint64_t frame; /* of the mix */
  double value;
  bool step;
} PlanishMovePoint;

/* One control. */
typedef struct {
  uint32_t port;
  uint32_t count; /* of points */
  uint32_t at;    /* the last point that has been reached */
  PlanishMovePoint *points;
} PlanishMove;

typedef struct {
  PlanishMove *moves; /* NULL: nothing moves */
  uint32_t count;
} PlanishMoves;

/* Those of stage `stage`. On failure there is nothing to free, but free() may be called. */
bool planish_moves_new(PlanishMoves *moves, const PlanishSheet *sheet, uint32_t stage, double rate,
                       PlanishError *error);
void planish_moves_free(PlanishMoves *moves);

/* The value of a control at a frame: that which was handed over last. */
float planish_move_value(PlanishMove *move, int64_t offset, uint64_t frame);

/* The next frame after this one at which any value is handed over; UINT64_MAX: none. After the
 * values at `frame` were asked for. */
uint64_t planish_moves_next(const PlanishMoves *moves, int64_t offset, uint64_t frame);

#endif
