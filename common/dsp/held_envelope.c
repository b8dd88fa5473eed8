#include "common/dsp/held_envelope.h"

#include "common/dsp/maths.h"

#include <stdbool.h>

void planish_held_envelope_setup(PlanishHeldEnvelope *envelope, PlanishArena *arena,
                                 uint32_t max_hold)
{
  planish_sliding_max_setup(&envelope->max, arena, max_hold);
  planish_held_envelope_reset(envelope);
}

void planish_held_envelope_reset(PlanishHeldEnvelope *envelope)
{
  planish_sliding_max_reset(&envelope->max);
  envelope->past[0] = 0.0;
  envelope->past[1] = 0.0;
}

/* Power of the sine through three frames, at whose middle the magnitude has its maximum. */
static double power_of_peak(double x0, double x1, double x2)
{
  const double power = x1 * x1;
  const double across = (x2 - x0) * (x2 - x0);
  const double under = 4.0 * power - (x0 + x2) * (x0 + x2);
  /* Where x0 = x2 = +-x1 the quotient is 0 / 0, and there is nothing to add. */
  return across < under ? power * (1.0 + across / under) : (under > 0.0 ? 2.0 * power : power);
}

double planish_held_envelope_next(PlanishHeldEnvelope *envelope, double x, uint32_t hold)
{
  const double x1 = envelope->past[0];
  const double x0 = envelope->past[1];
  const bool is_peak = fabs(x1) >= fabs(x) && fabs(x1) >= fabs(x0);
  const double power = is_peak ? power_of_peak(x0, x1, x) : x * x;
  envelope->past[1] = x1;
  envelope->past[0] = x;
  return planish_sliding_max_next(&envelope->max, power, hold);
}
