/* Small slow gains that lift what neighbours mask and hold back what masks. */
#include "common/frame/stage.h"
#include "plugins/unmask/law.h"
#include "ttl/unmask_ports.h"

/* Under this the K-weighting has no shape, beyond it frames take megabytes and nothing is won. */
static const double LOWEST_RATE = 4000.0;
static const double HIGHEST_RATE = 800000.0;

typedef struct {
  UnmaskLaw law;
} Unmask;

static uint32_t latency(double rate, const float *values)
{
  (void)values;
  return rate > HIGHEST_RATE ? 0 : planish_spectral_engine_latency(unmask_law_length(rate));
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Unmask *const unmask = state;
  if (!(rate >= LOWEST_RATE) || rate > HIGHEST_RATE) {
    return PLANISH_BAD_RATE;
  }
  return unmask_law_setup(&unmask->law, arena, rate);
}

static void reset(void *state)
{
  Unmask *const unmask = state;
  unmask_law_reset(&unmask->law);
}

static void set(void *state, const float *values)
{
  Unmask *const unmask = state;
  const UnmaskSettings settings = {
      .amount = (double)values[UNMASK_AMOUNT] / 100.0,
      .most = (double)values[UNMASK_MAX_CHANGE],
      .dead_zone = (double)values[UNMASK_DEAD_ZONE],
      .tilt = (double)values[UNMASK_TILT],
      .averaging_time = (double)values[UNMASK_AVERAGING_TIME],
      .range = {{(double)values[UNMASK_RANGE1_LOW], (double)values[UNMASK_RANGE1_HIGH]},
                {(double)values[UNMASK_RANGE2_LOW], (double)values[UNMASK_RANGE2_HIGH]}},
  };
  unmask_law_set(&unmask->law, &settings);
}

static void process(void *state, const PlanishBlock *block)
{
  Unmask *const unmask = state;
  unmask_law_process(&unmask->law, block->audio, block->channels, block->frames);
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  const UnmaskLaw *const law = &((const Unmask *)state)->law;
  values[UNMASK_LARGEST_LIFT] = (float)law->largest_lift.db;
  values[UNMASK_LARGEST_LIFT_FREQ] = (float)law->largest_lift.frequency;
  values[UNMASK_LARGEST_CUT] = (float)law->largest_cut.db;
  values[UNMASK_LARGEST_CUT_FREQ] = (float)law->largest_cut.frequency;
}

static void release(void *state)
{
  Unmask *const unmask = state;
  unmask_law_release(&unmask->law);
}

const PlanishStage planish_stage = {
    .ports = &unmask_ports,
    .state_size = sizeof(Unmask),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
    .release = release,
};
