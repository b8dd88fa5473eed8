/* Blocks through a row of steps on several threads: the order kept, the first error in the order of
 * blocks, the end, and that threads change nothing. */
#include "harness/base/pipeline.h"

#include "harness/base/interrupt.h"
#include "harness/base/workers.h"
#include "tests/unit/cmocka_headers.h"

#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>

enum { STEPS = 7, BLOCKS = 900, NEVER = 1 << 20 };

/* Plain data, so that the thread sanitizer tells where two steps would meet. */
typedef struct {
  uint64_t ring[PLANISH_PIPELINE_DEPTH];
  uint64_t next[STEPS];   /* block that each step expects */
  uint64_t states[STEPS]; /* what a step carries on from block to block */
  uint64_t results[BLOCKS];
  unsigned wait[STEPS];    /* rounds of idle work */
  uint64_t fail_at[STEPS]; /* block */
  double shares[2];        /* told: the last two */
  pthread_t main;          /* that tells */
  bool misplaced;
} Work;

static Work work;

static void idle(unsigned rounds)
{
  for (volatile unsigned n = 0; n < rounds; ++n) {
  }
}

static bool do_step(void *user, size_t step, uint64_t block, PlanishError *error)
{
  Work *own = user;
  uint64_t *value = &own->ring[block % PLANISH_PIPELINE_DEPTH];
  if (block != own->next[step]) {
    own->misplaced = true;
  }
  own->next[step] = block + 1;
  idle(own->wait[step]);
  if (block == own->fail_at[step]) {
    return planish_fail(error, PLANISH_BAD_AUDIO, "block %d at step %d", (int)block, (int)step);
  }
  const uint64_t came = step == 0 ? block : *value;
  own->states[step] = own->states[step] * 6364136223846793005U + came + step;
  *value = own->states[step];
  if (step == STEPS - 1) {
    own->results[block] = *value;
  }
  return true;
}

static void hear(void *user, double share)
{
  Work *own = user;
  own->misplaced = own->misplaced || !pthread_equal(own->main, pthread_self());
  own->shares[0] = own->shares[1];
  own->shares[1] = share;
  own->misplaced = own->misplaced || own->shares[0] > own->shares[1];
}

static void prepare(void)
{
  memset(&work, 0, sizeof work);
  work.main = pthread_self();
  for (size_t n = 0; n < STEPS; ++n) {
    work.fail_at[n] = NEVER;
  }
}

static bool run(double *seconds, PlanishError *error)
{
  const PlanishPipeline pipeline = {.blocks = BLOCKS,
                                    .steps = STEPS,
                                    .work = do_step,
                                    .user = &work,
                                    .told = hear,
                                    .told_user = &work,
                                    .seconds = seconds};
  return planish_pipeline_run(&pipeline, error);
}

/* As it would be without any pipeline. */
static const uint64_t *expected(void)
{
  static uint64_t results[BLOCKS];
  uint64_t states[STEPS] = {0};
  for (uint64_t block = 0; block < BLOCKS; ++block) {
    uint64_t value = block;
    for (size_t step = 0; step < STEPS; ++step) {
      states[step] = states[step] * 6364136223846793005U + value + step;
      value = states[step];
    }
    results[block] = value;
  }
  return results;
}

/* Steps of equal cost, one dear one at each place, and cheap ones. */
static void threads_change_nothing(void **state)
{
  (void)state;
  for (unsigned limit = 1; limit <= 4; ++limit) {
    planish_workers_limit(limit);
    for (size_t dear = 0; dear <= STEPS; ++dear) {
      PlanishError error = {0};
      prepare();
      for (size_t n = 0; n < STEPS; ++n) {
        work.wait[n] = n == dear ? 20000 : 500;
      }
      assert_true(run(NULL, &error));
      assert_int_equal(error.outcome, PLANISH_DONE);
      assert_false(work.misplaced);
      assert_true(work.shares[1] == 1.0);
      assert_memory_equal(work.results, expected(), sizeof work.results);
    }
  }
  planish_workers_limit(0);
}

/* Whichever thread comes to a mistake first, the one that counts is that of the earliest block, and
 * all blocks ahead of it are through. */
static void the_earliest_error_is_told(void **state)
{
  (void)state;
  for (unsigned limit = 1; limit <= 3; ++limit) {
    planish_workers_limit(limit);
    for (int round = 0; round < 40; ++round) {
      PlanishError error = {0};
      prepare();
      work.fail_at[1] = 303;
      work.fail_at[3] = 301;
      work.fail_at[5] = 300;
      assert_false(run(NULL, &error));
      assert_int_equal(error.outcome, PLANISH_BAD_AUDIO);
      assert_string_equal(error.text, "block 300 at step 5");
      assert_false(work.misplaced);
      assert_int_equal(work.next[STEPS - 1], 300);
      assert_memory_equal(work.results, expected(), 300 * sizeof *work.results);
    }
  }
  planish_workers_limit(0);
}

static void an_earlier_error_stays(void **state)
{
  (void)state;
  PlanishError error = {0};
  prepare();
  work.fail_at[0] = 0;
  planish_fail(&error, PLANISH_MISSED, "before");
  assert_false(run(NULL, &error));
  assert_string_equal(error.text, "before");
  prepare();
  work.fail_at[0] = 0;
  assert_false(run(NULL, NULL));
}

static void nothing_to_do_is_done(void **state)
{
  (void)state;
  PlanishError error = {0};
  prepare();
  const PlanishPipeline pipeline = {.blocks = 0, .steps = 1, .work = do_step, .user = &work};
  assert_true(planish_pipeline_run(&pipeline, &error));
  assert_int_equal(work.next[0], 0);
}

static void time_is_told_by_step(void **state)
{
  (void)state;
  PlanishError error = {0};
  double seconds[STEPS] = {0.0};
  prepare();
  work.wait[2] = 50000;
  assert_true(run(seconds, &error));
  for (size_t n = 0; n < STEPS; ++n) {
    assert_true(n == 2 || seconds[n] < 0.5 * seconds[2]);
  }
}

/* Last: there is no way back from it. */
static void it_ends_where_the_program_is_asked_to(void **state)
{
  (void)state;
  PlanishError error = {0};
  planish_interrupt_install();
  raise(SIGTERM);
  for (unsigned limit = 1; limit <= 3; ++limit) {
    planish_workers_limit(limit);
    planish_error_clear(&error);
    prepare();
    work.wait[0] = 10000;
    assert_false(run(NULL, &error));
    assert_int_equal(error.outcome, PLANISH_INTERRUPTED);
    assert_true(work.next[STEPS - 1] < BLOCKS);
  }
  planish_workers_limit(0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(threads_change_nothing),
      cmocka_unit_test(the_earliest_error_is_told),
      cmocka_unit_test(an_earlier_error_stays),
      cmocka_unit_test(nothing_to_do_is_done),
      cmocka_unit_test(time_is_told_by_step),
      cmocka_unit_test(it_ends_where_the_program_is_asked_to),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
