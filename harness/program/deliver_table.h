/* What "planish deliver" prints of a file. Thread: main. */
#ifndef PLANISH_HARNESS_DELIVER_TABLE_H
#define PLANISH_HARNESS_DELIVER_TABLE_H

#include "harness/deliver/deliver.h"

/* On standard output; what was missed on standard error, a line each. */
void planish_deliver_table(const PlanishDelivery *delivery);
void planish_deliver_tell_missed(const PlanishDelivery *delivery);

#endif
