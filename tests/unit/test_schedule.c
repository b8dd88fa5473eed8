/* The schedule: order, completeness, evenness, whatever the blocks. */
#include "tests/unit/cmocka_headers.h"

#include "common/dsp/schedule.h"

#include <stdio.h>
#include <string.h>

enum { MOST_STEPS = 400 };

typedef struct {
  uint32_t order[MOST_STEPS]; /* task * 1000 + index */
  uint32_t count;
} Log;

static Log book;

static void first(void *context, uint32_t index)
{
  assert_ptr_equal(context, &book);
  book.order[book.count++] = 1000 + index;
}

static void second(void *context, uint32_t index)
{
  assert_ptr_equal(context, &book);
  book.order[book.count++] = 2000 + index;
}

static void set_up(PlanishSchedule *schedule, uint32_t period)
{
  planish_schedule_setup(schedule, period);
  planish_schedule_add(schedule, (PlanishTask){first, &book, 16, 12});
  planish_schedule_add(schedule, (PlanishTask){second, &book, 0, 5});
  planish_schedule_add(schedule, (PlanishTask){second, &book, 100, 3});
}

static void all_steps_run_once_and_in_order(void **state)
{
  (void)state;
  static const uint32_t blocks[] = {1, 7, 32, 64, 511, 512};
  for (size_t b = 0; b < sizeof blocks / sizeof *blocks; ++b) {
    PlanishSchedule schedule;
    set_up(&schedule, 512);
    memset(&book, 0, sizeof book);
    assert_int_equal(planish_schedule_run(&schedule, 0), 0);
    assert_int_equal(book.count, 0);
    for (int period = 1; period <= 3; ++period) {
      planish_schedule_begin(&schedule);
      for (uint32_t at = 0; at < 512;) {
        const uint32_t frames = blocks[b] < 512 - at ? blocks[b] : 512 - at;
        planish_schedule_run(&schedule, frames);
        at += frames;
      }
      assert_int_equal(book.count, 116 * period);
    }
    for (uint32_t i = 0; i < 116; ++i) {
      assert_int_equal(book.order[116 + i], i < 16 ? 1000 + i : 2000 + i - 16);
    }
  }
}

/* In blocks of 64 each takes an eighth, but for half a step at either side. */
static void every_block_takes_its_share(void **state)
{
  (void)state;
  PlanishSchedule schedule;
  uint64_t worst = 0;
  set_up(&schedule, 512);
  memset(&book, 0, sizeof book);
  planish_schedule_begin(&schedule);
  for (int block = 0; block < 8; ++block) {
    const uint64_t cost = planish_schedule_run(&schedule, 64);
    worst = cost > worst ? cost : worst;
  }
  printf("worst of 8 blocks: %.3f of the mean\n", (double)worst * 8.0 / (double)schedule.total);
  assert_true(worst <= schedule.total / 8 + 12);
}

/* At every frame what has run is what is due, but for half a step either way. */
static void no_step_is_early_or_late(void **state)
{
  (void)state;
  PlanishSchedule schedule;
  set_up(&schedule, 512);
  memset(&book, 0, sizeof book);
  planish_schedule_begin(&schedule);
  for (uint32_t frame = 1; frame <= 512; ++frame) {
    planish_schedule_run(&schedule, 1);
    const double due = (double)schedule.total * frame / 512.0;
    const double step = book.count <= 16 ? 12.0 : 3.0;
    assert_true((double)schedule.done <= due + (step + 1.0) / 2.0);
    assert_true((double)schedule.done >= due - (step + 1.0) / 2.0 - 1.0);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(all_steps_run_once_and_in_order),
      cmocka_unit_test(every_block_takes_its_share),
      cmocka_unit_test(no_step_is_early_or_late),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
