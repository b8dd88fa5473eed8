/* The true-peak limiter: input gain, the limiter core, and what it reports. */
#include "common/dsp/glide.h"
#include "common/dsp/maths.h"
#include "common/dsp/peak_hold.h"
#include "common/dsp/peak_limiter.h"
#include "common/frame/stage.h"
#include "ttl/limiter_ports.h"

/* How far inside the ceiling the limiter aims, for what the detector misses of content below
 * 20 kHz: see the figures of the unit tests. */
#define CEILING_MARGIN_DB 0.02

/* The lowest reading of the port. */
#define SILENCE_DBTP (-120.0)

typedef struct {
  PlanishPeakLimiter core;
  PlanishGlide input_gain;   /* dB */
  PlanishPeakHold reduction; /* dB */
  PlanishPeakHold true_peak; /* a magnitude */
  bool fresh;
} Limiter;

static PlanishPeakLimiterConfig config(void)
{
  return (PlanishPeakLimiterConfig){
      .max_lookahead = (double)limiter_port_table[LIMITER_LOOKAHEAD].maximum,
      .max_hold = (double)limiter_port_table[LIMITER_HOLD].maximum,
      .taps = PLANISH_TRUE_PEAK_TAPS,
  };
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Limiter *limiter = state;
  const PlanishPeakLimiterConfig core = config();
  if (planish_frames_of(core.max_lookahead, rate) > PLANISH_BOX_WINDOW_MAX) {
    return PLANISH_BAD_RATE;
  }
  planish_peak_limiter_setup(&limiter->core, arena, rate, &core);
  planish_glide_setup(&limiter->input_gain, arena, rate, PLANISH_GLIDE_MS);
  planish_peak_hold_setup(&limiter->reduction, rate, 0.0);
  planish_peak_hold_setup(&limiter->true_peak, rate, 0.0);
  return PLANISH_OK;
}

static void reset(void *state)
{
  Limiter *limiter = state;
  planish_peak_limiter_reset(&limiter->core);
  planish_peak_hold_reset(&limiter->reduction);
  planish_peak_hold_reset(&limiter->true_peak);
  limiter->fresh = true;
}

static void set(void *state, const float *values)
{
  Limiter *limiter = state;
  const PlanishPeakLimiterSettings settings = {
      .ceiling = (double)values[LIMITER_CEILING] - CEILING_MARGIN_DB,
      .lookahead = (double)values[LIMITER_LOOKAHEAD],
      .hold = (double)values[LIMITER_HOLD],
      .release = (double)values[LIMITER_RELEASE],
      .slow_share = (double)values[LIMITER_SLOW_SHARE] / 100.0,
      .link = (double)values[LIMITER_LINK] / 100.0,
      .lift = (double)values[LIMITER_QUIET_LIFT],
      .lift_floor = (double)values[LIMITER_LIFT_FLOOR],
  };
  planish_peak_limiter_set(&limiter->core, &settings);
  if (limiter->fresh) {
    planish_glide_jump(&limiter->input_gain, (double)values[LIMITER_INPUT_GAIN]);
    limiter->fresh = false;
  }
  planish_glide_set(&limiter->input_gain, (double)values[LIMITER_INPUT_GAIN]);
}

static uint32_t latency(double rate, const float *values)
{
  (void)values;
  const PlanishPeakLimiterConfig core = config();
  return planish_peak_limiter_latency(rate, &core);
}

static void apply_input_gain(Limiter *limiter, const PlanishBlock *block)
{
  double gains[PLANISH_GRID];
  if (planish_glide_is_moving(&limiter->input_gain)) {
    for (uint32_t i = 0; i < block->frames; ++i) {
      gains[i] = planish_gain_of(planish_glide_next(&limiter->input_gain));
    }
  } else {
    const double gain = planish_gain_of(limiter->input_gain.target);
    for (uint32_t i = 0; i < block->frames; ++i) {
      gains[i] = gain;
    }
  }
  for (uint32_t c = 0; c < block->channels; ++c) {
    for (uint32_t i = 0; i < block->frames; ++i) {
      block->audio[c][i] *= gains[i];
    }
  }
}

static void process(void *state, const PlanishBlock *block)
{
  Limiter *limiter = state;
  apply_input_gain(limiter, block);
  const double reduction = planish_peak_limiter_process(
      &limiter->core, block->audio, block->reference, block->channels, block->frames);
  planish_peak_hold_push(&limiter->reduction, reduction, block->frames);
  planish_peak_hold_push(&limiter->true_peak, limiter->core.output_peak, block->frames);
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  Limiter *limiter = state;
  const double most = (double)limiter_port_table[LIMITER_REDUCTION].maximum;
  values[LIMITER_REDUCTION] =
      (float)planish_min(planish_peak_hold_value(&limiter->reduction), most);
  const double peak = planish_level_of(planish_peak_hold_value(&limiter->true_peak));
  values[LIMITER_TRUE_PEAK] = (float)planish_max(peak, SILENCE_DBTP);
}

const PlanishStage planish_stage = {
    .ports = &limiter_ports,
    .state_size = sizeof(Limiter),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
};
