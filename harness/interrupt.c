#include "harness/interrupt.h"

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
  struct sigaction action = {.sa_handler = ask, .sa_flags = SA_RESTART};
  sigemptyset(&action.sa_mask);
  sigaction(SIGINT, &action, NULL);
  sigaction(SIGTERM, &action, NULL);
  sigaction(SIGHUP, &action, NULL);
  action.sa_handler = SIG_IGN;
  sigaction(SIGPIPE, &action, NULL);
  sigaction(SIGXFSZ, &action, NULL);
}

bool planish_interrupt_check(PlanishError *error)
{
  return asked == 0 || planish_fail(error, PLANISH_INTERRUPTED, "interrupted: nothing was written");
}
