#include "plugins/ms-eq/linear_filter.h"

#include "common/dsp/maths.h"
#include "common/dsp/spectral_engine.h"

#include <string.h>

/* Taps in blocks, and a period in blocks: one in which the old filter still fades, one in which its
 * place is free for the next. */
enum { BLOCK_AT_48K = 1024, PARTITIONS = 16, PERIOD = 2 };

/* What is asked for where a period begins is designed WAIT periods later, takes a period, and fades
 * in over the block that came in before, as seen from the middle of the taps. So the fade's middle
 * lies half a block before the period began, and that is up to a period after the control moved. */
_Static_assert((int)PLANISH_CONVOLVER_LOAD_TASKS <= (int)PLANISH_LINEAR_PHASE_TASKS, "room");
_Static_assert(PERIOD *(PLANISH_LINEAR_FILTER_WAIT + 1) == PARTITIONS / 2, "in time");

/* Of a stretch of frequencies at 48 kHz, measured beside a row of the convolver's transform:
 * without a section, and for each section. (The convolver's rows grow with the rate, stretches do
 * not.) */
enum { STRETCH_COST = 20, SECTION_COST = 17 };

static uint32_t block_of(double rate)
{
  return planish_spectral_frame_length(rate, BLOCK_AT_48K);
}

uint32_t planish_linear_filter_latency(double rate)
{
  return block_of(rate) * (PARTITIONS / 2 + 2);
}

PlanishStatus planish_linear_filter_setup(PlanishLinearFilter *filter, PlanishArena *arena,
                                          double rate)
{
  const uint32_t block = block_of(rate);
  const uint32_t taps = block * PARTITIONS;
  filter->rate = rate;
  filter->latency = planish_linear_filter_latency(rate);
  for (int i = 0; i < 2; ++i) {
    planish_delay_setup(&filter->delay[i], arena, filter->latency, PLANISH_GRID);
    filter->gains[i] = planish_arena_take(arena, taps, sizeof *filter->gains[i]);
  }
  const PlanishStatus status = planish_linear_phase_setup(&filter->phase, arena, taps);
  const PlanishStatus other = planish_convolver_setup(&filter->convolver, arena, block, PARTITIONS);
  for (int i = 0; i < 2; ++i) {
    filter->curves[i] = (PlanishLinearCurves){
        .phase = &filter->phase, .gains = filter->gains[i], .taps = filter->convolver.taps[i]};
  }
  return status != PLANISH_OK ? status : other;
}

void planish_linear_filter_reset(PlanishLinearFilter *filter)
{
  planish_delay_reset(&filter->delay[0]);
  planish_delay_reset(&filter->delay[1]);
  planish_convolver_reset(&filter->convolver);
  planish_schedule_setup(&filter->design, PERIOD * filter->convolver.block);
  filter->at = 0;
  filter->place = 0;
  filter->fresh = true;
  filter->change = PLANISH_LINEAR_FILTER_STAYS;
  memset(&filter->designed, 0, sizeof filter->designed);
}

void planish_linear_filter_set(PlanishLinearFilter *filter, const PlanishStanding *wanted)
{
  filter->wanted = *wanted;
}

static void take_gains(void *context, uint32_t index)
{
  const PlanishLinearFilter *const filter = context;
  const uint32_t from = index * PLANISH_STANDING_PART;
  planish_standing_gains(&filter->designed, filter->rate, PLANISH_PI / filter->phase.length, from,
                         PLANISH_STANDING_PART, filter->gains[0] + from, filter->gains[1] + from);
}

static void add_tasks(PlanishSchedule *schedule, const PlanishTask *tasks, uint32_t count)
{
  for (uint32_t i = 0; i < count; ++i) {
    planish_schedule_add(schedule, tasks[i]);
  }
}

/* The load comes last and is less than half of it all, so that it begins in the second block, where
 * the filters that it writes over are no longer heard. */
static void begin_design(PlanishLinearFilter *filter)
{
  PlanishTask tasks[PLANISH_LINEAR_PHASE_TASKS];
  const uint32_t block = filter->convolver.block;
  const uint32_t sections = planish_standing_sections(&filter->designed, filter->rate);
  const PlanishTask gains = {
      .step = take_gains,
      .context = filter,
      .count = filter->phase.length / PLANISH_STANDING_PART,
      .cost = (STRETCH_COST + SECTION_COST * sections) * BLOCK_AT_48K / block,
  };
  planish_schedule_setup(&filter->design, PERIOD * block);
  planish_schedule_add(&filter->design, gains);
  for (int i = 0; i < 2; ++i) {
    const uint32_t count = planish_linear_phase_tasks(&filter->curves[i], 2 * block, tasks);
    add_tasks(&filter->design, tasks, count);
  }
  add_tasks(&filter->design, tasks, planish_convolver_load_tasks(&filter->convolver, tasks));
  planish_schedule_begin(&filter->design);
}

/* What was asked for WAIT periods ago. */
static PlanishStanding next_standing(PlanishLinearFilter *filter)
{
  if (filter->fresh) {
    for (int i = 0; i < PLANISH_LINEAR_FILTER_WAIT; ++i) {
      filter->waiting[i] = filter->wanted;
    }
    filter->fresh = false;
  }
  const PlanishStanding due = filter->waiting[filter->place];
  filter->waiting[filter->place] = filter->wanted;
  filter->place = (filter->place + 1) % PLANISH_LINEAR_FILTER_WAIT;
  return due;
}

static void begin_period(PlanishLinearFilter *filter)
{
  if (filter->change == PLANISH_LINEAR_FILTER_COMES) {
    planish_convolver_exchange(&filter->convolver);
  } else if (filter->change == PLANISH_LINEAR_FILTER_LEAVES) {
    planish_convolver_silence(&filter->convolver);
  }
  filter->change = PLANISH_LINEAR_FILTER_STAYS;
  const PlanishStanding due = next_standing(filter);
  if (planish_standing_is_same(&due, &filter->designed)) {
    return;
  }
  filter->designed = due;
  if (planish_standing_is_neutral(&due)) {
    filter->change = PLANISH_LINEAR_FILTER_LEAVES;
  } else {
    filter->change = PLANISH_LINEAR_FILTER_COMES;
    begin_design(filter);
  }
}

uint64_t planish_linear_filter_process(PlanishLinearFilter *filter, double *const *audio,
                                       uint32_t frames)
{
  double added[2][PLANISH_GRID];
  double *const both[2] = {added[0], added[1]};
  if (filter->at == 0) {
    begin_period(filter);
  }
  for (int c = 0; c < 2; ++c) {
    memcpy(added[c], audio[c], frames * sizeof *added[c]);
    planish_delay_process(&filter->delay[c], audio[c], audio[c], filter->latency, frames);
  }
  uint64_t cost = planish_convolver_process(&filter->convolver, both, 2, frames);
  if (filter->change == PLANISH_LINEAR_FILTER_COMES) {
    cost += planish_schedule_run(&filter->design, frames);
  }
  for (int c = 0; c < 2; ++c) {
    for (uint32_t n = 0; n < frames; ++n) {
      audio[c][n] += added[c][n];
    }
  }
  filter->at = (filter->at + frames) % (PERIOD * filter->convolver.block);
  return cost;
}

void planish_linear_filter_release(PlanishLinearFilter *filter)
{
  planish_linear_phase_release(&filter->phase);
  planish_convolver_release(&filter->convolver);
}
