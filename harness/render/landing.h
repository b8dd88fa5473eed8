/* Finds the setting with which a master lands on its loudness under its ceiling, one measured
 * render after the other.
 *
 * Loudness: the secant through (control, loudness), its slope kept within 0.1..1.05 LU/dB, since
 * limiters flatten out; from the third render on the parabola through the last three, where it is
 * near that line. No step is longer than 6 dB (12 while nothing limits yet, or at first where the
 * target is farther off); once there is a render on either side of the target, the next stays
 * between them (regula falsi). The first step has one render to go by: if it is known how loud the
 * chain would be without limiting, what is lost is taken to double with each dB, else the slope to
 * be 0.75.
 * Ceiling: if the finished file is over and its loudness within 1.5 LU, the controls that hold the
 * ceiling go down by the overshoot, and a little more so that the next render is under.
 * Both at once, at most PLANISH_LANDING_RENDERS renders. The nearest is kept: under the ceiling
 * first, then near the loudness.
 *
 * Thread: any. No allocation. */
#ifndef PLANISH_HARNESS_LANDING_H
#define PLANISH_HARNESS_LANDING_H

#include <stdbool.h>

/* LU on either side: 0.05 by any meter, of which 0.005 are left for what good meters differ by. */
#define PLANISH_LANDING_TOLERANCE 0.045

#define PLANISH_LANDING_RENDERS 5
#define PLANISH_LANDING_OVER    0.02 /* dB over the ceiling that are let pass */
#define PLANISH_LANDING_STALLED 0.3  /* LU/dB: flatter than this, more drive only distorts */
#define PLANISH_DRIVE_WARNING   1.0  /* dB of extra drive from which on it is told */

typedef enum {
  PLANISH_LANDING_ON_ITS_WAY,
  PLANISH_LANDED,
  PLANISH_LANDING_OUT_OF_RENDERS,
  PLANISH_LANDING_CONTROL_AT_END, /* the control that is moved has no more range */
  PLANISH_LANDING_STALL,          /* the loudness hardly follows the control any more */
  PLANISH_LANDING_CEILING_FIXED,  /* over the ceiling, and no control (range) to lower */
  PLANISH_LANDING_SILENT,         /* the result has no loudness */
} PlanishLandingState;

/* What is wanted, and what may be moved. */
typedef struct {
  bool has_loudness;
  double loudness; /* LUFS */
  double minimum;  /* of the control, dB */
  double maximum;
  bool has_ceiling;
  double ceiling;       /* dBTP */
  double most_lowering; /* dB by which the controls of the ceiling can go down; 0: there are none */
} PlanishLandingTask;

/* One render, as it was set and what came out. */
typedef struct {
  double control;  /* the control that is moved, dB */
  double lowering; /* dB off every control of the ceiling, >= 0 */
  double loudness; /* LUFS, of the finished file */
  double true_peak;
} PlanishLandingPoint;

typedef struct {
  PlanishLandingTask task;
  PlanishLandingState state;
  unsigned renders; /* so far */
  bool improved;    /* the last render is the nearest so far */
  PlanishLandingPoint best;
  double slope; /* LU/dB between the last two renders, as measured; NAN: not known */

  /* What the next render is to be set to. */
  double control;
  double lowering;

  double unlimited; /* LUFS with the control at 0 dB if nothing limited; NAN: not known */
  PlanishLandingPoint last;
  PlanishLandingPoint former; /* before the last */
  PlanishLandingPoint below;  /* the nearest on either side of the target */
  PlanishLandingPoint above;
  bool has_last;
  bool has_former;
  bool has_below;
  bool has_above;
} PlanishLanding;

/* `control`: where the first render is set. */
void planish_landing_start(PlanishLanding *landing, const PlanishLandingTask *task, double control);

/* What is known after the first render: how loud the result would be with the control at 0 dB if
 * no stage limited. May be left out. */
void planish_landing_know(PlanishLanding *landing, double unlimited);

/* After a render at `control` and `lowering`: takes what was measured on the finished file, and
 * decides. While the state is PLANISH_LANDING_ON_ITS_WAY, render again. */
void planish_landing_next(PlanishLanding *landing, double loudness, double true_peak);

#endif
