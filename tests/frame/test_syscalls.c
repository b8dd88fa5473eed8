/* run() asks the system for nothing: no memory, no lock that sleeps, no file, no clock. A process
 * of its own runs each stage with a filter that kills it at the first system call (seccomp(2)),
 * while controls move. */
#include "tests/frame/takes.h"
#include "tests/unit/cmocka_headers.h"

#include <linux/filter.h>
#include <linux/seccomp.h>
#include <signal.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

enum { RATE = 48000, BLOCK = 64, BLOCKS = 3000 };

/* From here on only the end of the process is allowed. False: the kernel has no such filter. */
static bool forbid_calls(void)
{
  struct sock_filter program[] = {
      BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(struct seccomp_data, nr)),
      BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, SYS_exit_group, 0, 1),
      BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ALLOW),
      BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_KILL_PROCESS),
  };
  const struct sock_fprog filter = {sizeof program / sizeof *program, program};
  return prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
         prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &filter, 0, 0) == 0;
}

/* All controls that are not marked, at random; marked ones now and then. */
static void move_controls(PlanishInstance *instance, const PlanishPlugin *plugin, uint64_t *seed,
                          bool marked)
{
  for (uint32_t i = 0; i < plugin->port_count; ++i) {
    const PlanishPluginPort *port = &plugin->ports[i];
    if (port->kind == PLANISH_PLUGIN_CONTROL_INPUT && (marked || !port->not_automatic)) {
      planish_instance_set_at(
          instance, i, (float)random_within(seed, (double)port->minimum, (double)port->maximum));
    }
  }
}

enum { NO_FILTER = 77, NO_INSTANCE = 78 };

static void run_filtered(const PlanishPlugin *plugin, const Audio *in)
{
  PlanishError error = {0};
  uint64_t seed = 3;
  PlanishInstance *instance = planish_instance_new(plugin, RATE, &error);
  if (instance == NULL) {
    _exit(NO_INSTANCE);
  }
  planish_instance_activate(instance);
  /* The host's own start: pages of stack and code that are touched for the first time are no calls,
   * but what a lazy linker looks up is none of the stage's. */
  float left[BLOCK];
  float right[BLOCK];
  const float *const from[2] = {in->channel[0], in->channel[1]};
  planish_instance_run(instance, from, (float *const[2]){left, right}, BLOCK);
  if (!forbid_calls()) {
    _exit(NO_FILTER);
  }
  for (uint32_t block = 1; block < BLOCKS; ++block) {
    if (block % 7 == 0) {
      move_controls(instance, plugin, &seed, block % 700 == 0);
    }
    const uint32_t at = block * BLOCK % (in->frames - BLOCK);
    const float *const now[2] = {in->channel[0] + at, in->channel[1] + at};
    planish_instance_run(instance, now, (float *const[2]){left, right}, BLOCK);
  }
  syscall(SYS_exit_group, 0);
}

static int status_of(const PlanishPlugin *plugin, const Audio *in)
{
  int status = 0;
  fflush(stdout);
  const pid_t child = fork();
  if (child == 0) {
    run_filtered(plugin, in);
    _exit(1);
  }
  waitpid(child, &status, 0);
  return status;
}

static void check_stage(const PlanishPlugin *plugin)
{
  Audio in = audio_music(2 * RATE, 13, 0.7F);
  const int status = status_of(plugin, &in);
  audio_free(&in);
  if (WIFEXITED(status) && WEXITSTATUS(status) == NO_FILTER) {
    print_message("skipped: the kernel has no filter for system calls\n");
    skip();
  }
  if (WIFSIGNALED(status)) {
    printf("  ended by signal %d (%d: a system call)\n", WTERMSIG(status), SIGSYS);
  }
  assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
  printf("  %d blocks: no system call\n", BLOCKS);
}

static void run_calls_nobody(void **state)
{
  (void)state;
  for_each_stage(check_stage);
}

/* The filter works: the same with a call in it is killed. */
static void a_call_would_be_found(void **state)
{
  (void)state;
  int status = 0;
  const pid_t child = fork();
  if (child == 0) {
    if (!forbid_calls()) {
      _exit(NO_FILTER);
    }
    syscall(SYS_getppid);
    syscall(SYS_exit_group, 0);
  }
  waitpid(child, &status, 0);
  if (WIFEXITED(status) && WEXITSTATUS(status) == NO_FILTER) {
    skip();
  }
  assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGSYS);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_call_would_be_found),
      cmocka_unit_test(run_calls_nobody),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
