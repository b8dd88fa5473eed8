/* What the ways of making several masters at once have in common: a row for each, the files, the
 * table. Thread: main. */
#ifndef PLANISH_HARNESS_SEVERAL_ROWS_H
#define PLANISH_HARNESS_SEVERAL_ROWS_H

#include "harness/program/price_table.h"
#include "harness/program/several_masters.h"
#include "harness/render/mastering.h"

enum { PLANISH_SEVERAL_MOST = 32, PLANISH_SEVERAL_REASON = 480 };

/* Rows, and what they point to. */
typedef struct {
  PlanishPriceRow rows[PLANISH_SEVERAL_MOST + 1];
  uint32_t stages[PLANISH_SEVERAL_MOST + 1];      /* that are left out */
  PlanishSheet *sheets[PLANISH_SEVERAL_MOST + 1]; /* their own; NULL: the job's */
  char *labels[PLANISH_SEVERAL_MOST + 1];
  char *outs[PLANISH_SEVERAL_MOST + 1];
  char reasons[PLANISH_SEVERAL_MOST + 1][PLANISH_SEVERAL_REASON];
  uint32_t count;
} PlanishSeveralRows;

/* Adds a row. Takes over `label`, which may be NULL (no memory). Its file is job->out with `suffix`
 * ahead of its ending, or as it is (NULL). False where that cannot be written. */
bool planish_several_add(const PlanishSeveralRequest *request, PlanishSeveralRows *rows,
                         char *label, const char *suffix, PlanishError *error);

/* Makes the master of a row by the mastering's sheet of now, and what it costs. */
bool planish_several_land(PlanishMastering *mastering, const PlanishMasterJob *job,
                          PlanishSeveralRows *rows, uint32_t n, PlanishError *error);

/* Makes the masters of `rows` with progress told, then the table under `heading`, and gives the
 * rows back. `found` false: `error` says why there is nothing to make. Fails with PLANISH_MISSED,
 * after the table, where a target was missed. */
bool planish_several_make(const PlanishSeveralRequest *request, PlanishSeveralRows *rows,
                          bool found,
                          bool (*make)(const PlanishMasterJob *job, PlanishSeveralRows *rows,
                                       PlanishError *error),
                          const char *heading, PlanishError *error);

#endif
