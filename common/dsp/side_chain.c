#include "common/dsp/side_chain.h"

#include "common/dsp/trig.h"

#define BUTTERWORTH_DAMPING 1.41421356237309504880

#define HIGHEST_TURNS 0.49

double planish_side_chain_tangent(double frequency, double rate)
{
  const double turns = planish_min(frequency / rate, HIGHEST_TURNS);
  const PlanishSineCosine half = planish_sine_cosine(PLANISH_PI * turns);
  return half.sine / half.cosine;
}

PlanishSvfCoefs planish_side_chain_band(PlanishBandType type, double tangent, double q)
{
  PlanishSvfCoefs coefs = {.g = tangent, .k = BUTTERWORTH_DAMPING};
  switch (type) {
  case PLANISH_BAND_LOW_SHELF:
    coefs.m2 = 1.0;
    break;
  case PLANISH_BAND_HIGH_SHELF:
    coefs.m0 = 1.0;
    coefs.m1 = -coefs.k;
    coefs.m2 = -1.0;
    break;
  case PLANISH_BAND_PEAKING:
    coefs.k = 1.0 / q;
    coefs.m1 = coefs.k;
    break;
  case PLANISH_BAND_FULL:
    coefs.m0 = 1.0;
    break;
  }
  return coefs;
}

void planish_side_chain_set(PlanishSideChainCoefs *coefs, const PlanishSvfCoefs *band,
                            double high_pass, double pass_share)
{
  coefs->band = *band;
  coefs->band_steps = planish_svf_steps(band->g, band->k);
  coefs->pass_steps = planish_svf_steps(high_pass, BUTTERWORTH_DAMPING);
  coefs->pass_share = pass_share;
}

static inline PlanishTwo next(PlanishSideChain *chain, const PlanishSideChainCoefs *coefs,
                              PlanishTwo x)
{
  const PlanishSvfOutputs pass = planish_svf_next(&chain->pass, coefs->pass_steps, x);
  const PlanishTwo below = planish_both(BUTTERWORTH_DAMPING) * pass.band + pass.low;
  x -= planish_both(coefs->pass_share) * below;
  const PlanishSvfCoefs *band = &coefs->band;
  const PlanishSvfOutputs outputs = planish_svf_next(&chain->band, coefs->band_steps, x);
  return planish_both(band->m0) * x + planish_both(band->m1) * outputs.band +
         planish_both(band->m2) * outputs.low;
}

void planish_side_chain_process(PlanishSideChain *chain, const PlanishSideChainCoefs *coefs,
                                const double *const in[2], double *const out[2], uint32_t frames)
{
  const PlanishSideChainCoefs still = *coefs;
  PlanishSideChain state = *chain;
  for (uint32_t i = 0; i < frames; ++i) {
    const PlanishTwo y = next(&state, &still, (PlanishTwo){in[0][i], in[1][i]});
    out[0][i] = y[0];
    out[1][i] = y[1];
  }
  *chain = state;
}
