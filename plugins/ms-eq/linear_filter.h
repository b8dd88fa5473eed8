/* What stands of the equaliser (standing.h) as one long filter without phase: 341 ms of taps on the
 * difference to the delayed input, so that where all gains are one the input passes bit for bit.
 *
 * Time goes in periods of two convolver blocks, 43 ms at 48 kHz, counted from reset. The settings
 * are looked at where a period begins; the filter is designed over a later period, spread evenly
 * over its frames, and fades in over one block (21 ms) by a raised cosine. It is designed so much
 * later that a control which moves as a sound comes in is heard as that sound comes out: the middle
 * of the fade lies 11 ms before the move to 32 ms after it, by where in its period the move falls.
 * The first setting after reset is in force before the first sound comes out.
 *
 * Between two settings the gains themselves are faded, at every frequency, since no phase differs.
 *
 * Settings that stand cost the convolver alone; neutral ones the transform of its input, which
 * must be there when they change.
 *
 * Thread: one at a time. All but setup and release are real-time safe. */
#ifndef PLANISH_MS_EQ_LINEAR_FILTER_H
#define PLANISH_MS_EQ_LINEAR_FILTER_H

#include "common/dsp/delay.h"
#include "common/dsp/linear_phase.h"
#include "common/dsp/partitioned_convolver.h"
#include "common/dsp/schedule.h"
#include "plugins/ms-eq/standing.h"

enum { PLANISH_LINEAR_FILTER_WAIT = 3 }; /* periods */

typedef enum {
  PLANISH_LINEAR_FILTER_STAYS,
  PLANISH_LINEAR_FILTER_COMES,  /* a new one, once the period is over */
  PLANISH_LINEAR_FILTER_LEAVES, /* for the delayed input alone */
} PlanishLinearFilterChange;

typedef struct {
  double rate;
  uint32_t latency;
  PlanishDelay delay[2];
  PlanishConvolver convolver;
  PlanishLinearPhase phase;
  PlanishLinearCurves curves[2];
  PlanishComplex *gains[2];
  PlanishSchedule design; /* of the taps, and their load into the convolver */
  uint32_t at;            /* frames of the period that are over */
  uint32_t place;         /* in `waiting`, of the oldest */
  bool fresh;             /* reset, and no frame since */
  PlanishLinearFilterChange change;
  PlanishStanding wanted;
  PlanishStanding waiting[PLANISH_LINEAR_FILTER_WAIT]; /* as the last periods began */
  PlanishStanding designed;                            /* under work, or the last one that was */
} PlanishLinearFilter;

/* Frames from input to result; rate 8000..768000. */
uint32_t planish_linear_filter_latency(double rate);

/* PLANISH_NO_MEMORY where there is no plan. */
PlanishStatus planish_linear_filter_setup(PlanishLinearFilter *filter, PlanishArena *arena,
                                          double rate);

/* Forgets all. set() before the next process() stands at once. */
void planish_linear_filter_reset(PlanishLinearFilter *filter);

/* At any grid frame; looked at where the next period begins. */
void planish_linear_filter_set(PlanishLinearFilter *filter, const PlanishStanding *wanted);

/* Left and right, 1..PLANISH_GRID frames that do not cross a grid frame, replaced by the result.
 * Returns the cost of what has run, in the unit of PLANISH_FFT_ROW_COST. */
uint64_t planish_linear_filter_process(PlanishLinearFilter *filter, double *const *audio,
                                       uint32_t frames);

/* Fine on zeros, and twice. */
void planish_linear_filter_release(PlanishLinearFilter *filter);

#endif
