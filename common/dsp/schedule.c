#include "common/dsp/schedule.h"

#include <string.h>

void planish_schedule_setup(PlanishSchedule *schedule, uint32_t period)
{
  memset(schedule, 0, sizeof *schedule);
  schedule->period = period;
}

void planish_schedule_add(PlanishSchedule *schedule, PlanishTask task)
{
  schedule->tasks[schedule->task_count] = task;
  ++schedule->task_count;
  schedule->total += (uint64_t)task.count * task.cost;
  schedule->task = schedule->task_count;
}

void planish_schedule_begin(PlanishSchedule *schedule)
{
  schedule->elapsed = 0;
  schedule->done = 0;
  schedule->task = 0;
  schedule->index = 0;
}

uint64_t planish_schedule_run(PlanishSchedule *schedule, uint32_t frames)
{
  const uint64_t before = schedule->done;
  schedule->elapsed += frames;
  /* Costs times the period: nothing is divided. */
  const uint64_t due = schedule->total * schedule->elapsed;
  while (schedule->task < schedule->task_count) {
    const PlanishTask *const task = schedule->tasks + schedule->task;
    /* A step is due in its middle: late as often as early. */
    const uint64_t middle = (schedule->done + task->cost / 2) * schedule->period;
    if (schedule->index < task->count && middle > due) {
      break;
    }
    if (schedule->index < task->count) {
      task->step(task->context, schedule->index);
      schedule->done += task->cost;
      ++schedule->index;
    }
    if (schedule->index >= task->count) {
      ++schedule->task;
      schedule->index = 0;
    }
  }
  return schedule->done - before;
}
