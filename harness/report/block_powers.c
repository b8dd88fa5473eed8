#include "harness/report/block_powers.h"

#include "common/dsp/k_weighting.h"

#include <math.h>
#include <stdlib.h>

/* ITU-R BS.1770-4 Annex 1: block length over hop, gates, offset. */
#define BLOCKS_A_GATE 4
#define ABSOLUTE_GATE (-70.0) /* LUFS */
#define RELATIVE_GATE (-10.0) /* LU */
#define OFFSET        (-0.691)

struct PlanishBlockPowers {
  PlanishKWeightingCoefs coefs;
  PlanishKWeighting k[2];
  double rate;
  float *powers;
  size_t count;
  size_t room;
  uint64_t frame;
  uint64_t block_end;
  double sum;
};

PlanishBlockPowers *planish_block_powers_new(double rate)
{
  PlanishBlockPowers *blocks = calloc(1, sizeof *blocks);
  if (blocks != NULL) {
    blocks->rate = rate;
    blocks->coefs = planish_k_weighting_design(rate);
    blocks->block_end = planish_block_start(rate, 1);
  }
  return blocks;
}

void planish_block_powers_free(PlanishBlockPowers *blocks)
{
  if (blocks != NULL) {
    free(blocks->powers);
    free(blocks);
  }
}

static bool end_block(PlanishBlockPowers *blocks)
{
  if (blocks->count == blocks->room) {
    const size_t room = 2 * blocks->room + 1024;
    float *powers = realloc(blocks->powers, room * sizeof *powers);
    if (powers == NULL) {
      return false;
    }
    blocks->powers = powers;
    blocks->room = room;
  }
  const uint64_t start = planish_block_start(blocks->rate, blocks->count);
  blocks->powers[blocks->count] = (float)(blocks->sum / (double)(blocks->block_end - start));
  blocks->count += 1;
  blocks->sum = 0.0;
  blocks->block_end = planish_block_start(blocks->rate, blocks->count + 1);
  return true;
}

bool planish_block_powers_process(PlanishBlockPowers *blocks, const float *interleaved,
                                  size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    for (size_t c = 0; c < 2; ++c) {
      const double weighted = planish_k_weighting_process(&blocks->k[c], &blocks->coefs,
                                                          (double)interleaved[2 * n + c]);
      blocks->sum += weighted * weighted;
    }
    blocks->frame += 1;
    if (blocks->frame == blocks->block_end && !end_block(blocks)) {
      return false;
    }
  }
  return true;
}

const float *planish_block_powers_values(const PlanishBlockPowers *blocks)
{
  return blocks->powers;
}

size_t planish_block_powers_count(const PlanishBlockPowers *blocks)
{
  return blocks->count;
}

double planish_block_level(double power)
{
  return power > 0.0 ? OFFSET + 10.0 * log10(power) : -HUGE_VAL;
}

/* The mean power of the gating blocks over `gate`; 0 where there are none. */
static double gated_power(const float *powers, size_t count, double gate)
{
  double sum = 0.0;
  size_t over = 0;
  for (size_t n = 0; n + BLOCKS_A_GATE <= count; ++n) {
    double power = 0.0;
    for (size_t k = 0; k < BLOCKS_A_GATE; ++k) {
      power += (double)powers[n + k] / BLOCKS_A_GATE;
    }
    if (planish_block_level(power) > gate) {
      sum += power;
      over += 1;
    }
  }
  return over > 0 ? sum / (double)over : 0.0;
}

double planish_block_loudness(const float *powers, size_t count)
{
  const double audible = planish_block_level(gated_power(powers, count, ABSOLUTE_GATE));
  const double gate = fmax(ABSOLUTE_GATE, audible + RELATIVE_GATE);
  return planish_block_level(gated_power(powers, count, gate));
}
