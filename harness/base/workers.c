#define _GNU_SOURCE /* sched_getaffinity() */
#include "harness/base/workers.h"

#include "harness/base/interrupt.h"

#include <errno.h>
#include <poll.h>
#include <sched.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

enum { LOOK_MS = 200, END_OF_SHARES = 255 };

/* Of the piece that this process does: where it tells of it, in percent; -1: it does none. */
static int own_descriptor = -1;
static unsigned char own_percent;

static unsigned most_processors; /* 0: no limit */

typedef struct {
  pid_t process; /* 0: none is under way */
  int descriptor;
  size_t piece;
  size_t got;  /* bytes of what it sends: its error, then its result */
  bool shares; /* it tells how much is done still: a byte of percent at a time */
} Worker;

typedef struct {
  const PlanishWorkersJob *job;
  Worker *workers;
  struct pollfd *polled; /* by worker; here, where a new process keeps all that it has */
  size_t worker_count;
  unsigned processors;  /* of each */
  PlanishError *errors; /* by piece */
  bool *done;           /* by piece */
  double *shares;
  size_t next; /* piece to begin */
  bool failed;
  bool asked; /* to end */
} Pool;

static void write_all(int descriptor, const void *bytes, size_t size)
{
  const char *at = bytes;
  while (size > 0) {
    const ssize_t count = write(descriptor, at, size);
    if (count < 0 && errno == EINTR) {
      continue;
    }
    if (count <= 0) {
      return; /* nobody is there to read it */
    }
    at += count;
    size -= (size_t)count;
  }
}

void planish_workers_tell(double share)
{
  const unsigned char percent = share < 0.0   ? 0
                                : share < 1.0 ? (unsigned char)(100.0 * share)
                                              : 100;
  if (own_descriptor >= 0 && percent != own_percent) {
    own_percent = percent;
    write_all(own_descriptor, &percent, 1);
  }
}

/* The process of a piece. It ends by exit(), so that what is measured of it is kept. */
static void do_piece(Pool *pool, size_t piece, int descriptor, pid_t parent)
{
  const PlanishWorkersJob *job = pool->job;
  PlanishError error = {0};
  void *result = calloc(1, job->result_bytes + 1);
  prctl(PR_SET_PDEATHSIG, SIGTERM);
  own_descriptor = descriptor;
  planish_workers_limit(pool->processors);
  if (getppid() != parent) {
    exit(1);
  }
  const bool done = result != NULL && job->work(job->user, piece, result, &error);
  if (!done && error.outcome == PLANISH_DONE) {
    planish_fail_memory(&error);
  }
  own_descriptor = -1;
  const unsigned char last = END_OF_SHARES;
  write_all(descriptor, &last, 1);
  write_all(descriptor, &error, sizeof error);
  if (result != NULL) {
    write_all(descriptor, result, job->result_bytes);
  }
  free(result);
  exit(0);
}

static bool begin(Pool *pool, Worker *worker, PlanishError *error)
{
  int ends[2];
  const pid_t parent = getpid();
  if (pipe(ends) != 0) {
    return planish_fail(error, PLANISH_BAD_FILE,
                        "no process can be started: side by side: close other programs, or pass "
                        "--jobs=1");
  }
  (void)fflush(NULL); /* or the new process would write it, too */
  const pid_t process = fork();
  if (process == 0) {
    close(ends[0]);
    do_piece(pool, pool->next, ends[1], parent);
  }
  close(ends[1]);
  if (process < 0) {
    close(ends[0]);
    return planish_fail(error, PLANISH_BAD_FILE,
                        "no process can be started: side by side: close other programs, or pass "
                        "--jobs=1");
  }
  *worker =
      (Worker){.process = process, .descriptor = ends[0], .piece = pool->next, .shares = true};
  pool->next += 1;
  return true;
}

static void end(Pool *pool, Worker *worker)
{
  const PlanishWorkersJob *job = pool->job;
  PlanishError *error = &pool->errors[worker->piece];
  int status = 0;
  close(worker->descriptor);
  while (waitpid(worker->process, &status, 0) < 0 && errno == EINTR) {
  }
  if (worker->got < sizeof *error + job->result_bytes) {
    *error = (PlanishError){0};
    planish_fail(error, PLANISH_BAD_FILE,
                 "a part of the program has ended too early (signal %d): one of several side by "
                 "side: try again with --jobs=1, with more memory free",
                 WIFSIGNALED(status) ? WTERMSIG(status) : 0);
  }
  pool->done[worker->piece] = error->outcome == PLANISH_DONE;
  pool->failed = pool->failed || error->outcome != PLANISH_DONE;
  pool->shares[worker->piece] = 1.0;
  worker->process = 0;
}

/* Where the next byte that a worker sends belongs. */
static char *place_of(const Pool *pool, const Worker *worker, size_t *room)
{
  const PlanishWorkersJob *job = pool->job;
  const size_t head = sizeof *pool->errors;
  if (worker->got < head) {
    *room = head - worker->got;
    return (char *)&pool->errors[worker->piece] + worker->got;
  }
  *room = job->result_bytes - (worker->got - head);
  return (char *)job->results + worker->piece * job->result_bytes + (worker->got - head);
}

static void hear_share(Pool *pool, Worker *worker)
{
  unsigned char percent = 0;
  const ssize_t count = read(worker->descriptor, &percent, 1);
  if (count > 0 && percent == END_OF_SHARES) {
    worker->shares = false;
  } else if (count > 0) {
    pool->shares[worker->piece] = percent / 100.0;
  } else if (count == 0 || errno != EINTR) {
    end(pool, worker);
  }
}

static void hear(Pool *pool, Worker *worker)
{
  char beyond[16];
  size_t room = 0;
  char *place = place_of(pool, worker, &room);
  const ssize_t count = room > 0 ? read(worker->descriptor, place, room)
                                 : read(worker->descriptor, beyond, sizeof beyond);
  if (count > 0) {
    worker->got += (size_t)count;
  } else if (count == 0 || errno != EINTR) {
    end(pool, worker);
  }
}

static size_t under_way(const Pool *pool)
{
  size_t count = 0;
  for (size_t n = 0; n < pool->worker_count; ++n) {
    count += pool->workers[n].process != 0;
  }
  return count;
}

static void tell(const Pool *pool)
{
  double sum = 0.0;
  for (size_t n = 0; n < pool->job->pieces; ++n) {
    sum += pool->shares[n];
  }
  if (pool->job->told != NULL) {
    pool->job->told(pool->job->told_user, sum / (double)pool->job->pieces);
  }
}

/* Waits until one of them sends something, or for a while. */
static void wait_for_them(Pool *pool)
{
  struct pollfd *polled = pool->polled;
  for (size_t n = 0; n < pool->worker_count; ++n) {
    const Worker *worker = &pool->workers[n];
    polled[n] =
        (struct pollfd){.fd = worker->process != 0 ? worker->descriptor : -1, .events = POLLIN};
  }
  if (poll(polled, (nfds_t)pool->worker_count, LOOK_MS) <= 0) {
    return;
  }
  for (size_t n = 0; n < pool->worker_count; ++n) {
    if (polled[n].revents != 0) {
      Worker *worker = &pool->workers[n];
      (worker->shares ? hear_share : hear)(pool, worker);
    }
  }
}

static void ask_to_end(Pool *pool)
{
  for (size_t n = 0; !pool->asked && n < pool->worker_count; ++n) {
    if (pool->workers[n].process != 0) {
      kill(pool->workers[n].process, SIGTERM);
    }
  }
  pool->asked = true;
}

static bool run(Pool *pool, PlanishError *error)
{
  bool good = true;
  while (under_way(pool) > 0 || (good && !pool->failed && pool->next < pool->job->pieces)) {
    for (size_t n = 0; good && !pool->failed && n < pool->worker_count; ++n) {
      if (pool->workers[n].process == 0 && pool->next < pool->job->pieces) {
        good = begin(pool, &pool->workers[n], error);
      }
    }
    wait_for_them(pool);
    tell(pool);
    if (!planish_interrupt_check(error)) {
      good = false;
      ask_to_end(pool);
    }
  }
  for (size_t n = 0; n < pool->job->pieces; ++n) {
    if (pool->errors[n].outcome != PLANISH_DONE && error->outcome == PLANISH_DONE) {
      *error = pool->errors[n];
    }
    if (pool->job->done != NULL) {
      pool->job->done[n] = pool->done[n];
    }
  }
  return good && !pool->failed;
}

unsigned planish_workers_processors(void)
{
  cpu_set_t allowed;
  CPU_ZERO(&allowed);
  if (most_processors > 0) {
    return most_processors;
  }
  if (sched_getaffinity(0, sizeof allowed, &allowed) == 0) {
    return (unsigned)CPU_COUNT(&allowed);
  }
  const long on = sysconf(_SC_NPROCESSORS_ONLN);
  return on > 0 ? (unsigned)on : 1;
}

void planish_workers_limit(unsigned processors)
{
  most_processors = processors;
}

bool planish_workers_run(const PlanishWorkersJob *job, PlanishError *error)
{
  if (job->pieces == 0) {
    return true;
  }
  const unsigned cores = job->cores > 0 ? job->cores : planish_workers_processors();
  Pool pool = {.job = job, .worker_count = cores < job->pieces ? cores : job->pieces};
  pool.processors = cores / (unsigned)pool.worker_count;
  pool.polled = calloc(pool.worker_count, sizeof *pool.polled);
  pool.workers = calloc(pool.worker_count, sizeof *pool.workers);
  pool.errors = calloc(job->pieces, sizeof *pool.errors);
  pool.done = calloc(job->pieces, sizeof *pool.done);
  pool.shares = calloc(job->pieces, sizeof *pool.shares);
  const bool ready = pool.shares != NULL && pool.polled != NULL && pool.workers != NULL &&
                     pool.errors != NULL && pool.done != NULL;
  const bool done = ready ? run(&pool, error) : planish_fail_memory(error);
  free(pool.done);
  free(pool.errors);
  free(pool.workers);
  free(pool.polled);
  free(pool.shares);
  return done;
}
