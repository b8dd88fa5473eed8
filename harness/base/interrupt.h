/* SIGINT, SIGTERM and SIGHUP ask for an orderly end, unless whoever started the program has them
 * ignored: whatever is half-written is removed on the way out. SIGPIPE and SIGXFSZ become errors of
 * the write that met them. Thread: any. */
#ifndef PLANISH_HARNESS_INTERRUPT_H
#define PLANISH_HARNESS_INTERRUPT_H

#include "harness/base/error.h"

/* To be called once, first in main. */
void planish_interrupt_install(void);

/* Whether to go on; false fills `error` with PLANISH_INTERRUPTED. */
bool planish_interrupt_check(PlanishError *error);

#endif
