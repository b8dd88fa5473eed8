#include "plugins/stereo-depth/band_split.h"

#define DAMPING 1.41421356237309505 /* of a Butterworth section; two of them in a row */

PlanishSvfSteps planish_band_split_steps(double tangent)
{
  return planish_svf_steps(tangent, DAMPING);
}

static inline PlanishTwo high_of(PlanishTwo x, PlanishSvfOutputs outputs)
{
  return x - planish_both(DAMPING) * outputs.band - outputs.low;
}

static inline PlanishTwo high_pass(PlanishSvf *svf, PlanishSvfSteps steps, PlanishTwo x)
{
  return high_of(x, planish_svf_next(svf, steps, x));
}

static inline void split_frame(PlanishBandSplit *split, PlanishSvfSteps at_low,
                               PlanishSvfSteps at_high, PlanishTwo x,
                               PlanishTwo bands[PLANISH_DEPTH_BANDS])
{
  const PlanishSvfOutputs first = planish_svf_next(&split->at_low, at_low, x);
  const PlanishTwo above = high_pass(&split->above, at_low, high_of(x, first));
  const PlanishSvfOutputs second = planish_svf_next(&split->at_high, at_high, above);
  bands[PLANISH_DEPTH_LOW] = planish_svf_next(&split->low, at_low, first.low).low;
  bands[PLANISH_DEPTH_MIDDLE] = planish_svf_next(&split->middle, at_high, second.low).low;
  bands[PLANISH_DEPTH_HIGH] = high_pass(&split->high, at_high, high_of(above, second));
}

void planish_band_split_process(PlanishBandSplit *split, PlanishSvfSteps at_low,
                                PlanishSvfSteps at_high, const double *side, const double *mid,
                                PlanishDepthBands *bands, uint32_t frames)
{
  PlanishBandSplit state = *split;
  for (uint32_t i = 0; i < frames; ++i) {
    PlanishTwo parts[PLANISH_DEPTH_BANDS];
    split_frame(&state, at_low, at_high, (PlanishTwo){side[i], mid[i]}, parts);
    for (int b = 0; b < PLANISH_DEPTH_BANDS; ++b) {
      bands->side[b][i] = parts[b][0];
      bands->mid[b][i] = parts[b][1];
    }
  }
  *split = state;
}
