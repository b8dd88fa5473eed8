#include "harness/render/landing.h"

#include "common/dsp/maths.h"

static const double first_slope = 0.75;
static const double flattest = 0.1;
static const double steepest = 1.05;
static const double longest_step = 6.0;

/* From this slope on nothing is being limited yet, and a step may be twice as long, as may the
 * first where the target is farther off than that. */
static const double free_slope = 0.95;

/* Of a lowered ceiling's decibels, about this share is lost in loudness: peaks alone give way. */
static const double ceiling_share = 0.5;

/* dB under the ceiling that a correction aims at: the next render is not to be over by a hair. */
static const double aim_under = 0.005;

/* A step that has to be longer than this on a flat slope is not worth taking, dB. */
static const double stalled_step = 3.0;

/* LU from the target within which an overshoot is taken to be that of the result: farther off, the
 * ceiling would be lowered for a drive that is not to be. */
static const double near_enough = 1.5;

/* Settings nearer than this are the same, dB. */
static const double same = 1e-4;

void planish_landing_start(PlanishLanding *landing, const PlanishLandingTask *task, double control)
{
  *landing = (PlanishLanding){.task = *task, .slope = (double)NAN, .unlimited = (double)NAN};
  landing->control =
      task->has_loudness ? planish_clamp(control, task->minimum, task->maximum) : control;
}

void planish_landing_know(PlanishLanding *landing, double unlimited)
{
  landing->unlimited = unlimited;
}

static double over(const PlanishLanding *landing, const PlanishLandingPoint *point)
{
  return landing->task.has_ceiling ? point->true_peak - landing->task.ceiling : -HUGE_VAL;
}

static double off(const PlanishLanding *landing, const PlanishLandingPoint *point)
{
  return landing->task.has_loudness ? landing->task.loudness - point->loudness : 0.0;
}

static bool is_nearer(const PlanishLanding *landing, const PlanishLandingPoint *a,
                      const PlanishLandingPoint *b)
{
  const double over_a = planish_max(over(landing, a) - PLANISH_LANDING_OVER, 0.0);
  const double over_b = planish_max(over(landing, b) - PLANISH_LANDING_OVER, 0.0);
  return over_a != over_b ? over_a < over_b : fabs(off(landing, a)) < fabs(off(landing, b));
}

/* The loudness that a render would have had with the ceiling lowered as it is now. */
static double loudness_now(const PlanishLanding *landing, const PlanishLandingPoint *point)
{
  return point->loudness - ceiling_share * (landing->lowering - point->lowering);
}

/* By how much the ceiling has to go down further; 0: not at all, or not yet. */
static double lower_ceiling(const PlanishLanding *landing, const PlanishLandingPoint *point,
                            bool again_anyway)
{
  const double excess = over(landing, point);
  const double room = landing->task.most_lowering - landing->lowering;
  if (excess <= (again_anyway ? 0.0 : PLANISH_LANDING_OVER) ||
      (again_anyway && fabs(off(landing, point)) > near_enough)) {
    return 0.0;
  }
  return planish_clamp(excess + aim_under, 0.0, planish_max(room, 0.0));
}

/* Over the ceiling, and the controls that hold it are at their ends. */
static bool is_ceiling_fixed(const PlanishLanding *landing, const PlanishLandingPoint *point)
{
  return over(landing, point) > PLANISH_LANDING_OVER &&
         landing->task.most_lowering - landing->lowering <= same;
}

static void keep_bracket(PlanishLanding *landing, const PlanishLandingPoint *point)
{
  if (off(landing, point) > 0.0) {
    landing->below = *point;
    landing->has_below = true;
  } else {
    landing->above = *point;
    landing->has_above = true;
  }
}

static void measure_slope(PlanishLanding *landing, const PlanishLandingPoint *point)
{
  const double moved = point->control - landing->last.control;
  if (landing->has_last && fabs(moved) > same) {
    const double before =
        landing->last.loudness - ceiling_share * (point->lowering - landing->last.lowering);
    landing->slope = (point->loudness - before) / moved;
  }
}

/* Where the line through both sides of the target meets it. */
static double between(const PlanishLanding *landing)
{
  const double low = loudness_now(landing, &landing->below);
  const double high = loudness_now(landing, &landing->above);
  const double share =
      high > low ? planish_clamp((landing->task.loudness - low) / (high - low), 0.05, 0.95) : 0.5;
  return landing->below.control + share * (landing->above.control - landing->below.control);
}

/* Where the target lies if what limiting costs doubles with each dB of drive (on mixes of guitars
 * it took 0.7 to 1 dB); NAN where this says nothing. */
static double modelled_control(const PlanishLanding *landing, const PlanishLandingPoint *point)
{
  const double loudness = loudness_now(landing, point);
  const double loss = landing->unlimited + point->control - loudness;
  if (isnan(loss) || loss > 1.0) {
    return (double)NAN;
  }
  double low = landing->task.minimum;
  double high = point->control + (loss < 0.02 ? 2.0 * longest_step : longest_step);
  /* Not beyond where the model would be flat. */
  if (loss > 0.0) {
    high = planish_min(high, point->control - planish_log2(loss) - 1.0);
  }
  for (int n = 0; n < 40; ++n) {
    const double control = 0.5 * (low + high);
    const double lost = planish_max(loss, 0.0) * planish_exp2(control - point->control);
    if (landing->unlimited + control - lost < landing->task.loudness) {
      low = control;
    } else {
      high = control;
    }
  }
  return high;
}

/* Where the parabola through three renders, control over loudness, meets the target; NAN where two
 * of them are as loud. */
static double curved_control(const PlanishLanding *landing, const PlanishLandingPoint *point)
{
  const double wanted = landing->task.loudness;
  const double a = loudness_now(landing, point);
  const double b = loudness_now(landing, &landing->last);
  const double c = loudness_now(landing, &landing->former);
  if (!landing->has_former || fabs(a - b) < same || fabs(b - c) < same || fabs(a - c) < same) {
    return (double)NAN;
  }
  return point->control * (wanted - b) * (wanted - c) / ((a - b) * (a - c)) +
         landing->last.control * (wanted - a) * (wanted - c) / ((b - a) * (b - c)) +
         landing->former.control * (wanted - a) * (wanted - b) / ((c - a) * (c - b));
}

/* Where the control goes next, from the last render. */
static double next_control(const PlanishLanding *landing, const PlanishLandingPoint *point)
{
  const double wanted = landing->task.loudness - loudness_now(landing, point);
  const double slope =
      planish_clamp(isnan(landing->slope) ? first_slope : landing->slope, flattest, steepest);
  const bool far = isnan(landing->slope) && fabs(wanted) > 2.0 * longest_step;
  const double longest = far || landing->slope >= free_slope ? 2.0 * longest_step : longest_step;
  const double modelled = isnan(landing->slope) ? modelled_control(landing, point) : (double)NAN;
  double control = isnan(modelled)
                       ? point->control + planish_clamp(wanted / slope, -longest, longest)
                       : modelled;
  const double curved = curved_control(landing, point);
  const double step = control - point->control;
  /* Not where it is far from the line: then the three are no curve. */
  if (!isnan(curved) && fabs(curved - control) < 0.5 * fabs(step)) {
    control = point->control + planish_clamp(curved - point->control, -longest, longest);
  }
  if (landing->has_below && landing->has_above) {
    const double low = planish_min(landing->below.control, landing->above.control);
    const double high = planish_max(landing->below.control, landing->above.control);
    if (control <= low || control >= high) {
      control = between(landing);
    }
  }
  return planish_clamp(control, landing->task.minimum, landing->task.maximum);
}

/* Why the loudness cannot be reached from here, if it cannot. */
static PlanishLandingState stuck(const PlanishLanding *landing, const PlanishLandingPoint *point)
{
  const double missing = off(landing, point);
  const bool flat = !isnan(landing->slope) && landing->slope < PLANISH_LANDING_STALLED;
  if (fabs(missing) <= PLANISH_LANDING_TOLERANCE) {
    return PLANISH_LANDING_ON_ITS_WAY;
  }
  if (flat && missing > 0.0 &&
      (landing->renders >= PLANISH_LANDING_RENDERS ||
       missing / planish_max(landing->slope, 0.01) > stalled_step)) {
    return PLANISH_LANDING_STALL;
  }
  if ((missing > 0.0 && point->control >= landing->task.maximum - same) ||
      (missing < 0.0 && point->control <= landing->task.minimum + same)) {
    return PLANISH_LANDING_CONTROL_AT_END;
  }
  return PLANISH_LANDING_ON_ITS_WAY;
}

static void decide(PlanishLanding *landing, const PlanishLandingPoint *point)
{
  const bool loud = fabs(off(landing, point)) <= PLANISH_LANDING_TOLERANCE;
  if (loud && over(landing, point) <= PLANISH_LANDING_OVER) {
    landing->state = PLANISH_LANDED;
    return;
  }
  landing->state = stuck(landing, point);
  const bool give_up = landing->state != PLANISH_LANDING_ON_ITS_WAY;
  const double lower = lower_ceiling(landing, point, !loud && !give_up);
  /* While the loudness is still on its way, the true peak may yet come down with it. */
  if ((loud || give_up) && is_ceiling_fixed(landing, point)) {
    landing->state = PLANISH_LANDING_CEILING_FIXED;
    return;
  }
  if (landing->renders >= PLANISH_LANDING_RENDERS) {
    landing->state = give_up ? landing->state : PLANISH_LANDING_OUT_OF_RENDERS;
    return;
  }
  if (give_up && lower == 0.0) {
    return;
  }
  /* Out of reach, but over the ceiling: the nearest result is still to be under it. */
  landing->state = PLANISH_LANDING_ON_ITS_WAY;
  landing->lowering += lower;
  if (landing->task.has_loudness && !give_up) {
    landing->control = next_control(landing, point);
  }
}

void planish_landing_next(PlanishLanding *landing, double loudness, double true_peak)
{
  const PlanishLandingPoint point = {
      .control = landing->control,
      .lowering = landing->lowering,
      .loudness = loudness,
      .true_peak = true_peak,
  };
  landing->renders += 1;
  landing->improved = landing->renders == 1 || is_nearer(landing, &point, &landing->best);
  if (landing->improved) {
    landing->best = point;
  }
  if (!isfinite(loudness) && landing->task.has_loudness) {
    landing->state = PLANISH_LANDING_SILENT;
    return;
  }
  if (landing->task.has_loudness) {
    measure_slope(landing, &point);
    keep_bracket(landing, &point);
  }
  decide(landing, &point);
  landing->former = landing->last;
  landing->has_former = landing->has_last;
  landing->last = point;
  landing->has_last = true;
}
