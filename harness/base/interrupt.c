#include "harness/base/interrupt.h"

#include <signal.h>
#include <stddef.h>

static volatile sig_atomic_t asked;

static void ask(int signal)
{
  (void)signal;
  asked = 1;
}

void planish_interrupt_install(void)
{
  static const int asking[] = {SIGINT, SIGTERM, SIGHUP};
  struct sigaction action = {.sa_handler = ask, .sa_flags = SA_RESTART};
  sigemptyset(&action.sa_mask);
  for (size_t n = 0; n < sizeof asking / sizeof *asking; ++n) {
    struct sigaction before;
    /* nohup, and a shell that starts a job in the background, have these ignored. */
    if (sigaction(asking[n], NULL, &before) == 0 && before.sa_handler != SIG_IGN) {
      sigaction(asking[n], &action, NULL);
    }
  }
  action.sa_handler = SIG_IGN;
  sigaction(SIGPIPE, &action, NULL);
  sigaction(SIGXFSZ, &action, NULL);
}

bool planish_interrupt_check(PlanishError *error)
{
  return asked == 0 || planish_fail(error, PLANISH_INTERRUPTED, "interrupted: nothing was written");
}
