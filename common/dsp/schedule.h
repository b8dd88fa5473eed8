/* Heavy work, cut into steps and spread evenly over a period of frames.
 *
 * Work is a list of tasks, done in order; a task is a count of equal steps. At every frame of the
 * period as much of the whole cost is due as of the period has passed, so that the worst block
 * costs little more than the mean, and all is done when the period ends. What the steps compute
 * must not depend on when within the period they run: they read only what was laid down when it
 * began. Then the host's blocks, which move steps by a few frames, change no bit.
 *
 * Thread: one at a time. All is real-time safe, as far as the steps are. */
#ifndef PLANISH_DSP_SCHEDULE_H
#define PLANISH_DSP_SCHEDULE_H

#include <stdint.h>

enum { PLANISH_MOST_TASKS = 24 };

typedef struct {
  void (*step)(void *context, uint32_t index); /* index 0..count-1 */
  void *context;
  uint32_t count;
  uint32_t cost; /* of a step, in a unit that all tasks share */
} PlanishTask;

typedef struct {
  PlanishTask tasks[PLANISH_MOST_TASKS];
  uint32_t task_count;
  uint32_t period; /* frames */
  uint64_t total;  /* cost of all steps */
  uint64_t done;   /* cost of the steps that have run */
  uint32_t elapsed;
  uint32_t task; /* where the next step is */
  uint32_t index;
} PlanishSchedule;

/* Without tasks. period > 0. */
void planish_schedule_setup(PlanishSchedule *schedule, uint32_t period);

/* At the end of the list, which has room for PLANISH_MOST_TASKS. */
void planish_schedule_add(PlanishSchedule *schedule, PlanishTask task);

/* A period begins: everything is still to be done. */
void planish_schedule_begin(PlanishSchedule *schedule);

/* `frames` of the period pass; runs the steps that fall due. No more than are left of the period.
 * Before the first begin() nothing is due. Returns the cost of what has run. */
uint64_t planish_schedule_run(PlanishSchedule *schedule, uint32_t frames);

#endif
