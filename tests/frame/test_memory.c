/* An allocator that fails at its n-th call, for every n: a stage then refuses to be instantiated,
 * or does without, and gives back all that it had. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <errno.h>
#include <fcntl.h>
#include <lv2/core/lv2.h>
#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum { RATE = 48000, NEVER = 0x7fffffff, MOST_OF_OUR_OWN = 10, FIRST = 40, STRIDE = 17 };

/* glibc's own, behind the public names. */
extern void *__libc_malloc(size_t size);
extern void *__libc_calloc(size_t count, size_t size);
extern void *__libc_realloc(void *block, size_t size);
extern void *__libc_memalign(size_t alignment, size_t size);
extern void __libc_free(void *block);

static volatile bool counting;
static volatile int calls;
static volatile int fails_at = NEVER;
static volatile long held; /* blocks that were not given back */

static bool fails(void)
{
  return counting && calls++ == fails_at;
}

static void *given(void *block)
{
  held += counting && block != NULL;
  return block;
}

__attribute__((visibility("default"))) void *malloc(size_t size)
{
  return fails() ? NULL : given(__libc_malloc(size));
}

__attribute__((visibility("default"))) void *calloc(size_t count, size_t size)
{
  return fails() ? NULL : given(__libc_calloc(count, size));
}

__attribute__((visibility("default"))) void *realloc(void *block, size_t size)
{
  if (fails()) {
    return NULL;
  }
  held -= counting && block != NULL;
  return given(__libc_realloc(block, size));
}

__attribute__((visibility("default"))) void *memalign(size_t alignment, size_t size)
{
  return fails() ? NULL : given(__libc_memalign(alignment, size));
}

__attribute__((visibility("default"))) void *aligned_alloc(size_t alignment, size_t size)
{
  return memalign(alignment, size);
}

__attribute__((visibility("default"))) int posix_memalign(void **block, size_t alignment,
                                                          size_t size)
{
  void *found = memalign(alignment, size);
  if (found != NULL) {
    *block = found;
  }
  return found == NULL ? ENOMEM : 0;
}

__attribute__((visibility("default"))) void free(void *block)
{
  held -= counting && block != NULL;
  __libc_free(block);
}

/* What became of an instance whose n-th allocation failed. */
enum { MADE, REFUSED, LOST, LEAKED };

/* A second one after a failure is made, or refused; what FFTW's planner had begun may be lost where
 * the first was refused (spectral_plan.c), and never more. */

static int try_one(const LV2_Descriptor *d, int n)
{
  held = 0;
  calls = 0;
  fails_at = n;
  counting = true;
  LV2_Handle stage = d->instantiate(d, RATE, "", NULL);
  fails_at = NEVER;
  if (stage != NULL) {
    d->activate(stage);
    d->run(stage, 0);
    d->deactivate(stage);
    d->cleanup(stage);
  }
  counting = false;
  return held == 0 ? (stage != NULL ? MADE : REFUSED) : (stage != NULL ? LEAKED : LOST);
}

/* And once more, with memory: made, but where the planner of a stage that plans has failed. */
static int try_again(const LV2_Descriptor *d, int n, bool plans)
{
  const int became = try_one(d, n);
  const int again = try_one(d, NEVER);
  return again == MADE || (plans && again == REFUSED) ? became : LEAKED;
}

/* In a process of its own, in which a crash is told from a refusal. */
static int try_apart(const LV2_Descriptor *d, int n, bool plans)
{
  (void)fflush(NULL);
  const pid_t child = fork();
  if (child == 0) {
    (void)dup2(open("/dev/null", O_WRONLY), STDERR_FILENO); /* what stages log */
    _exit(try_again(d, n, plans));
  }
  int status = 0;
  waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 100 + WTERMSIG(status);
}

static void check_stage(const PlanishPlugin *plugin)
{
  const LV2_Descriptor *d = descriptor_of(plugin);
  assert_int_equal(try_one(d, NEVER), MADE);
  const int count = calls;
  const bool plans = count > MOST_OF_OUR_OWN;
  int became[LEAKED + 1] = {0};
  int tried = 0;
  /* Of the many that a planner makes, some. */
  for (int n = 0; n < count; n += n < FIRST ? 1 : STRIDE) {
    tried += 1;
    const int now = try_apart(d, n, plans);
    if (now >= LEAKED) {
      print_error("allocation %d of %d fails: %s %d\n", n, count,
                  now == LEAKED ? "lost, or no instance afterwards" : "signal", now - 100);
      fail();
    }
    became[now] += 1;
  }
  printf(
      "  %d of %d allocations fail in turn: refused %d (%d of them lost what a planner had), made "
      "without %d\n",
      tried, count, became[REFUSED] + became[LOST], became[LOST], became[MADE]);
  /* Only what plans may lose anything. */
  assert_true(plans || became[LOST] == 0);
}

static void no_failure_is_more_than_a_refusal(void **state)
{
  (void)state;
  for_each_stage(check_stage);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(no_failure_is_more_than_a_refusal),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
