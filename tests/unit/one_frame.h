/* What works on blocks, a frame at a time. */
#ifndef TESTS_ONE_FRAME_H
#define TESTS_ONE_FRAME_H

#include "common/dsp/dynamic_band.h"
#include "common/dsp/held_envelope.h"
#include "common/dsp/level_detector.h"
#include "common/dsp/side_chain.h"
#include "common/dsp/transient.h"

typedef struct {
  double level;
  double power;
} Levels;

typedef struct {
  double attack;
  double decay;
} TransientShares;

static inline double next_envelope(PlanishHeldEnvelope *envelope, double x, uint32_t hold)
{
  double power;
  planish_held_envelope_process(envelope, &x, &power, 1, hold);
  return power;
}

static inline Levels next_levels(PlanishLevelDetector *detector, double x, double mean_share)
{
  Levels levels;
  planish_level_detector_process(detector, &x, mean_share, &levels.level, &levels.power, 1);
  return levels;
}

static inline TransientShares next_shares(PlanishTransient *transient,
                                          const PlanishTransientTimes *times, double range,
                                          const double x[2], uint32_t channels)
{
  TransientShares shares;
  planish_transient_process(transient, times, range, (const double *const[2]){&x[0], &x[1]},
                            channels, &shares.attack, &shares.decay, 1);
  return shares;
}

static inline PlanishTwo next_of_side_chain(PlanishSideChain *chain,
                                            const PlanishSideChainCoefs *coefs, PlanishTwo x)
{
  double lane[2] = {x[0], x[1]};
  planish_side_chain_process(chain, coefs, (const double *const[2]){&lane[0], &lane[1]},
                             (double *const[2]){&lane[0], &lane[1]}, 1);
  return (PlanishTwo){lane[0], lane[1]};
}

static inline PlanishTwo next_of_band(PlanishDynamicBand *band, PlanishTwo gain, double tangent,
                                      double q, PlanishTwo x)
{
  const double gains[2] = {gain[0], gain[1]};
  double lane[2] = {x[0], x[1]};
  planish_dynamic_band_process(band, (const double *const[2]){&gains[0], &gains[1]}, tangent, q,
                               (double *const[2]){&lane[0], &lane[1]}, 1);
  return (PlanishTwo){lane[0], lane[1]};
}

#endif
