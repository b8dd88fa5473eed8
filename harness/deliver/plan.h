/* Where a delivered file is to stand, what it is to hold, and whether it can. For deliver.c. */
#ifndef PLANISH_HARNESS_PLAN_H
#define PLANISH_HARNESS_PLAN_H

#include "harness/deliver/deliver.h"

/* Fills in path, metadata, rate and frames, and the notes that follow of them. On failure what is
 * filled in is still the delivery's to give back. Thread: one at a time a delivery. */
bool planish_plan(PlanishDelivery *delivery, PlanishError *error);

/* Whether the file may be put in its place as things stand. */
bool planish_plan_check_place(const PlanishDelivery *delivery, PlanishError *error);

#endif
