#include "common/dsp/held_envelope.h"

#include "common/dsp/lanes_maths.h"
#include "common/dsp/maths.h"
#include "common/dsp/wide.h"

#include <string.h>

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

/* Of four frames; x0, x1, x: a frame and the two before it. Where the magnitude has its maximum in
 * the middle, the power of the sine through all three. Where x0 = x2 = +-x1 the quotient is 0 / 0,
 * and there is nothing to add. */
PLANISH_INLINED PlanishFour four_powers(PlanishFour x0, PlanishFour x1, PlanishFour x)
{
  const PlanishFour power = x1 * x1;
  const PlanishFour across = (x - x0) * (x - x0);
  const PlanishFour under = planish_all(4.0) * power - (x0 + x) * (x0 + x);
  const PlanishFour size = planish_four_magnitude(x1);
  const PlanishFourMask is_peak =
      (size >= planish_four_magnitude(x)) & (size >= planish_four_magnitude(x0));
  const PlanishFour at_edge =
      planish_four_choose(under > planish_all(0.0), planish_all(2.0) * power, power);
  const PlanishFour within = power * (planish_all(1.0) + across / under);
  const PlanishFour peak = planish_four_choose(across < under, within, at_edge);
  return planish_four_choose(is_peak, peak, x * x);
}

/* `past`: two frames, then the block's, then room for four. */
PLANISH_WIDE static void find_powers(const double *past, double *power, uint32_t frames)
{
  for (uint32_t i = 0; i < frames; i += PLANISH_LANES) {
    planish_four_store(power + i,
                       four_powers(planish_four_load(past + i), planish_four_load(past + i + 1),
                                   planish_four_load(past + i + 2)));
  }
}

void planish_held_envelope_process(PlanishHeldEnvelope *envelope, const double *x, double *power,
                                   uint32_t frames, uint32_t hold)
{
  double past[2 + PLANISH_GRID + PLANISH_LANES] = {envelope->past[1], envelope->past[0]};
  double found[PLANISH_GRID + PLANISH_LANES];
  memcpy(past + 2, x, frames * sizeof *x);
  memset(past + 2 + frames, 0, PLANISH_LANES * sizeof *x);
  find_powers(past, found, frames);
  memcpy(power, found, frames * sizeof *power);
  envelope->past[1] = past[frames];
  envelope->past[0] = past[frames + 1];
  planish_sliding_max_process(&envelope->max, power, frames, hold);
}
