/* The stretches of a piece that are worth hearing again and again, found from its block powers.
 * Lengths and places in blocks of 100 ms. Thread: any. No allocation. */
#ifndef PLANISH_HARNESS_LOOPS_H
#define PLANISH_HARNESS_LOOPS_H

#include "harness/report/report.h"

typedef struct {
  size_t start;
  size_t count;
} PlanishSpan;

typedef enum {
  PLANISH_LOOP_LOUDEST,
  PLANISH_LOOP_QUIETEST, /* of those that sound: within 40 LU of the loudest */
  PLANISH_LOOP_RISE,     /* in its middle the loudness rises most */
  PLANISH_LOOP_ENDING,
  PLANISH_LOOP_KINDS
} PlanishLoopKind;

const char *planish_loop_name(PlanishLoopKind kind);

/* Loops of `length` blocks, or of the whole where it is shorter. count > 0. */
void planish_loops_find(const float *powers, size_t count, size_t length,
                        PlanishSpan loops[PLANISH_LOOP_KINDS]);

/* Where a stage, or all together, changed the level most. */
typedef struct {
  double at;       /* s */
  double gain;     /* dB, of all stages in no branch together */
  size_t hardest;  /* index of the gains that took most */
  double its_gain; /* dB */
} PlanishMoment;

/* The hardest first, at least 2 s apart; returns how many, PLANISH_REPORT_MOMENTS at most. Only
 * what takes off counts, from 0.1 dB on. */
size_t planish_moments_find(const PlanishReportGains *gains, size_t count,
                            PlanishMoment moments[PLANISH_REPORT_MOMENTS]);

/* One gain in the interval around a time, dB. */
double planish_gain_at(const PlanishReportGains *gains, double seconds);

/* The sum there of all that stand in no branch, dB. */
double planish_gain_together(const PlanishReportGains *gains, size_t count, double seconds);

#endif
