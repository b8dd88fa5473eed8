/* Drives one stage as the frame does, without LV2: counts, fills, resets, sets, and processes in
 * blocks that never cross a grid frame. A test links the stage's own source.
 *
 *   StageDriver driver;
 *   stage_driver_new(&driver, &planish_stage, 48000.0);    values stand on their initial ones
 *   driver.values[LIMITER_CEILING] = -3.0F;
 *   stage_driver_reset(&driver);                           reset() and set()
 *   stage_driver_run(&driver, in, out, 2, frames);         in whole grid blocks
 *   stage_driver_free(&driver);
 *
 * Values changed between two runs take effect at the next grid frame, as in the frame. */
#ifndef PLANISH_TESTS_STAGE_DRIVER_H
#define PLANISH_TESTS_STAGE_DRIVER_H

#include "common/frame/stage.h"
#include "tests/unit/cmocka_headers.h"

#include <stdlib.h>
#include <string.h>

#define STAGE_DRIVER_MAX_PORTS 128

typedef struct {
  const PlanishStage *stage;
  void *state;
  void *block;
  float values[STAGE_DRIVER_MAX_PORTS];   /* by port index; change at will */
  float in_force[STAGE_DRIVER_MAX_PORTS]; /* what set() was last called with */
  bool set_pending;                       /* reset() was called, set() not yet */
  uint32_t grid_at;                       /* frames since the last grid frame */
  uint32_t block_limit;                   /* frames a process() call gets at most */
  double *reference[2];                   /* filled by run() if not NULL: whole signals */
} StageDriver;

static void stage_driver_reset(StageDriver *driver)
{
  driver->stage->reset(driver->state);
  driver->grid_at = 0;
  driver->set_pending = true;
}

static void stage_driver_new(StageDriver *driver, const PlanishStage *stage, double rate)
{
  memset(driver, 0, sizeof *driver);
  driver->stage = stage;
  driver->block_limit = PLANISH_GRID;
  driver->state = calloc(1, stage->state_size);
  assert_non_null(driver->state);
  PlanishArena counting = planish_arena_counting();
  assert_int_equal(stage->setup(driver->state, rate, &counting), PLANISH_OK);
  const size_t size = (counting.used + PLANISH_ALIGNMENT) / PLANISH_ALIGNMENT * PLANISH_ALIGNMENT;
  driver->block = aligned_alloc(PLANISH_ALIGNMENT, size);
  assert_non_null(driver->block);
  memset(driver->block, 0, size);
  PlanishArena filling = planish_arena_filling(driver->block, size);
  assert_int_equal(stage->setup(driver->state, rate, &filling), PLANISH_OK);
  assert_int_equal(filling.used, counting.used);
  assert_true(stage->ports->port_count <= STAGE_DRIVER_MAX_PORTS);
  for (uint32_t i = 0; i < stage->ports->port_count; ++i) {
    driver->values[i] = stage->ports->ports[i].initial;
  }
  stage_driver_reset(driver);
}

static void stage_driver_free(StageDriver *driver)
{
  if (driver->stage->release) {
    driver->stage->release(driver->state);
  }
  free(driver->block);
  free(driver->state);
  memset(driver, 0, sizeof *driver);
}

static void stage_driver_look(StageDriver *driver)
{
  const size_t bytes = driver->stage->ports->port_count * sizeof(float);
  if (driver->set_pending || memcmp(driver->values, driver->in_force, bytes) != 0) {
    memcpy(driver->in_force, driver->values, bytes);
    driver->stage->set(driver->state, driver->values);
    driver->set_pending = false;
  }
}

/* One process() call on copies; `at` is where the block starts in the signals. */
static void stage_driver_block(StageDriver *driver, const double *const *in, double *const *out,
                               uint32_t channels, size_t at, uint32_t frames)
{
  PlanishBlock block = {.channels = channels, .frames = frames};
  for (uint32_t c = 0; c < channels; ++c) {
    if (out[c] != in[c]) {
      memmove(out[c] + at, in[c] + at, frames * sizeof(double));
    }
    block.audio[c] = out[c] + at;
    block.reference[c] = driver->reference[c] ? driver->reference[c] + at : NULL;
  }
  driver->stage->process(driver->state, &block);
}

/* Any count of frames; goes on where the last run ended. in[c] may be out[c]. Output ports are
 * reported into `values` at the end. */
static void stage_driver_run(StageDriver *driver, const double *const *in, double *const *out,
                             uint32_t channels, size_t frames)
{
  for (size_t at = 0; at < frames;) {
    if (driver->grid_at == 0) {
      stage_driver_look(driver);
    }
    size_t count = PLANISH_GRID - driver->grid_at;
    count = count > driver->block_limit ? driver->block_limit : count;
    count = count > frames - at ? frames - at : count;
    stage_driver_block(driver, in, out, channels, at, (uint32_t)count);
    driver->grid_at = (driver->grid_at + (uint32_t)count) % PLANISH_GRID;
    at += count;
  }
  if (driver->stage->report && frames > 0) {
    driver->stage->report(driver->state, driver->values, (uint32_t)frames);
    for (uint32_t i = 0; i < driver->stage->ports->port_count; ++i) {
      if (driver->stage->ports->ports[i].kind == PLANISH_PORT_OUTPUT) {
        driver->in_force[i] = driver->values[i];
      }
    }
  }
}

#endif
