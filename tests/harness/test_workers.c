/* Pieces of work side by side: results in their places, the first error, crashes, the end. */
#include "harness/base/workers.h"

#include "harness/base/interrupt.h"
#include "tests/unit/cmocka_headers.h"

#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { PIECES = 9 };

typedef struct {
  int square;
  char words[70000]; /* more than a pipe holds */
} Result;

static Result results[PIECES];
static bool done[PIECES];
static double last_share;

static void hear(void *user, double share)
{
  (void)user;
  last_share = share;
}

static void sleep_ms(long ms)
{
  const struct timespec time = {.tv_sec = ms / 1000, .tv_nsec = ms % 1000 * 1000000};
  nanosleep(&time, NULL);
}

static bool square(void *user, size_t piece, void *result, PlanishError *error)
{
  Result *own = result;
  (void)user;
  (void)error;
  planish_workers_tell(0.5);
  own->square = (int)(piece * piece);
  memset(own->words, 'a' + (int)piece, sizeof own->words);
  return true;
}

static bool fail_at_four(void *user, size_t piece, void *result, PlanishError *error)
{
  return piece == 4 ? planish_fail(error, PLANISH_BAD_AUDIO, "piece %zu is bad", piece)
                    : square(user, piece, result, error);
}

static bool crash_at_two(void *user, size_t piece, void *result, PlanishError *error)
{
  if (piece == 2) {
    signal(SIGABRT, SIG_DFL);
    raise(SIGKILL);
  }
  return square(user, piece, result, error);
}

/* Ends early where it is asked to. */
static bool wait_long(void *user, size_t piece, void *result, PlanishError *error)
{
  (void)user;
  (void)result;
  if (piece == 0) {
    kill(getppid(), SIGTERM);
  }
  for (int n = 0; n < 300; ++n) {
    if (!planish_interrupt_check(error)) {
      return false;
    }
    sleep_ms(100);
  }
  return true;
}

static bool run(bool (*work)(void *, size_t, void *, PlanishError *), unsigned cores,
                PlanishError *error)
{
  const PlanishWorkersJob job = {.pieces = PIECES,
                                 .cores = cores,
                                 .work = work,
                                 .results = results,
                                 .result_bytes = sizeof *results,
                                 .done = done,
                                 .told = hear};
  memset(results, 0, sizeof results);
  memset(done, 0, sizeof done);
  *error = (PlanishError){0};
  return planish_workers_run(&job, error);
}

static bool tell_processors(void *user, size_t piece, void *result, PlanishError *error)
{
  (void)user;
  (void)piece;
  (void)error;
  ((Result *)result)->square = (int)planish_workers_processors();
  return true;
}

/* Together they use as many as are to be used, each one at the least. */
static void processors_are_shared_out(void **state)
{
  (void)state;
  static const int shares[][2] = {{1, 1}, {PIECES, 1}, {PIECES + 1, 1}, {3 * PIECES + 1, 3}};
  for (size_t n = 0; n < sizeof shares / sizeof *shares; ++n) {
    PlanishError error;
    assert_true(run(tell_processors, (unsigned)shares[n][0], &error));
    assert_int_equal(results[0].square, shares[n][1]);
    assert_int_equal(results[PIECES - 1].square, shares[n][1]);
  }
  planish_workers_limit(2 * PIECES);
  PlanishError error;
  assert_int_equal(planish_workers_processors(), 2 * PIECES);
  assert_true(run(tell_processors, 0, &error));
  assert_int_equal(results[0].square, 2);
  planish_workers_limit(0);
  assert_true(planish_workers_processors() >= 1);
}

static void results_come_back_whatever_runs_beside(void **state)
{
  (void)state;
  for (unsigned cores = 0; cores <= 12; cores += 3) {
    PlanishError error;
    assert_true(run(square, cores, &error));
    for (int n = 0; n < PIECES; ++n) {
      assert_true(done[n]);
      assert_int_equal(results[n].square, n * n);
      assert_int_equal(results[n].words[0], 'a' + n);
      assert_int_equal(results[n].words[69999], 'a' + n);
    }
    assert_true(last_share == 1.0);
  }
}

static void after_a_failure_nothing_begins(void **state)
{
  (void)state;
  PlanishError error;
  assert_false(run(fail_at_four, 1, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_AUDIO);
  assert_string_equal(error.text, "piece 4 is bad");
  for (int n = 0; n < PIECES; ++n) {
    assert_int_equal(done[n], n < 4);
  }
  assert_false(run(fail_at_four, 3, &error));
  assert_string_equal(error.text, "piece 4 is bad");
  assert_true(done[0] && done[1] && done[2] && done[3] && !done[4]);
}

static void a_crash_takes_no_other_along(void **state)
{
  (void)state;
  PlanishError error;
  assert_false(run(crash_at_two, 2, &error));
  assert_int_equal(error.outcome, PLANISH_BAD_FILE);
  assert_non_null(strstr(error.text, "signal 9"));
  assert_true(done[0] && done[1] && !done[2]);
}

static void asked_to_end_all_end(void **state)
{
  (void)state;
  PlanishError error;
  planish_interrupt_install();
  const time_t begun = time(NULL);
  assert_false(run(wait_long, 3, &error));
  assert_int_equal(error.outcome, PLANISH_INTERRUPTED);
  assert_true(time(NULL) - begun < 20);
  for (int n = 0; n < PIECES; ++n) {
    assert_false(done[n]);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(results_come_back_whatever_runs_beside),
      cmocka_unit_test(processors_are_shared_out),
      cmocka_unit_test(after_a_failure_nothing_begins),
      cmocka_unit_test(a_crash_takes_no_other_along),
      cmocka_unit_test(asked_to_end_all_end), /* the last: it stays asked */
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
