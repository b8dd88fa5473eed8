/* What planish response measured, for people: a few rows of each table. Thread: main. */
#ifndef PLANISH_HARNESS_RESPONSE_TABLE_H
#define PLANISH_HARNESS_RESPONSE_TABLE_H

#include "harness/response/response.h"

void planish_response_table_print(const PlanishResponse *response);

#endif
