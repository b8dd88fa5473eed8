/* Stereo depth: the side follows the attacks of the mid, a trace of it is saturated, attacks are
 * placed across the image. All of it is done to the side alone: left + right stays what it was. */
#include "common/dsp/delay.h"
#include "common/dsp/peak_hold.h"
#include "common/dsp/rounded_gain.h"
#include "common/dsp/transient.h"
#include "common/frame/stage.h"
#include "plugins/stereo-depth/controls.h"
#include "plugins/stereo-depth/placement.h"
#include "plugins/stereo-depth/saturation.h"
#include "ttl/stereo_depth_ports.h"

#include <string.h>

#define ONSET_RANGE 9.0    /* dB of rise that count as a whole attack */
#define FULL_PAN    0.4856 /* dB of the mid, x = 0.0575 of it: (1 + x) / (1 - x) is 1 dB */

enum { BANDS = PLANISH_DEPTH_BANDS };

typedef struct {
  PlanishDepthControls controls;
  PlanishTransientTimes times;
  PlanishBandSplit split;
  PlanishTransient attacks[BANDS]; /* of the mid */
  PlanishRoundedGain shares[BANDS];
  PlanishSaturation saturation;
  PlanishPlacement placement;
  PlanishDelay delay[2]; /* of side and mid */
  PlanishPeakHold most;  /* dB of lift */
  double rounding;
  double rate;
  bool fresh;
} Depth;

static uint32_t latency(double rate, const float *values)
{
  (void)rate;
  (void)values;
  return PLANISH_SATURATION_DELAY;
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Depth *depth = state;
  if (!(rate >= 8000.0 && rate <= 768000.0)) {
    return PLANISH_BAD_RATE;
  }
  depth->rate = rate;
  depth->rounding = planish_rounding_share(rate);
  planish_depth_controls_setup(&depth->controls, arena, rate);
  for (int b = 0; b < BANDS; ++b) {
    planish_transient_setup(&depth->attacks[b], arena, rate);
  }
  planish_saturation_setup(&depth->saturation, arena, rate);
  for (int lane = 0; lane < 2; ++lane) {
    planish_delay_setup(&depth->delay[lane], arena, PLANISH_SATURATION_DELAY, PLANISH_GRID);
  }
  planish_peak_hold_setup(&depth->most, rate, 0.0);
  return PLANISH_OK;
}

static void reset(void *state)
{
  Depth *depth = state;
  memset(&depth->split, 0, sizeof depth->split);
  memset(depth->shares, 0, sizeof depth->shares);
  for (int b = 0; b < BANDS; ++b) {
    planish_transient_reset(&depth->attacks[b]);
  }
  planish_saturation_reset(&depth->saturation);
  planish_placement_reset(&depth->placement);
  for (int lane = 0; lane < 2; ++lane) {
    planish_delay_reset(&depth->delay[lane]);
  }
  planish_peak_hold_reset(&depth->most);
  depth->fresh = true;
}

static PlanishDepthValues values_of(const float *v)
{
  const double amount = (double)v[STEREO_DEPTH_AMOUNT] / 100.0;
  const double low = (double)v[STEREO_DEPTH_CROSSOVER_LOW];
  const double high = planish_max((double)v[STEREO_DEPTH_CROSSOVER_HIGH], low);
  return (PlanishDepthValues){
      .lift = {amount * (double)v[STEREO_DEPTH_LOW_SIDE_LIFT],
               amount * (double)v[STEREO_DEPTH_MIDDLE_SIDE_LIFT],
               amount * (double)v[STEREO_DEPTH_HIGH_SIDE_LIFT]},
      .saturation = {amount * (double)v[STEREO_DEPTH_LOW_SATURATION] / 100.0,
                     amount * (double)v[STEREO_DEPTH_MIDDLE_SATURATION] / 100.0,
                     amount * (double)v[STEREO_DEPTH_HIGH_SATURATION] / 100.0},
      .pan = {0.0, amount * (double)v[STEREO_DEPTH_MIDDLE_ATTACK_PAN] / 100.0,
              amount * (double)v[STEREO_DEPTH_HIGH_ATTACK_PAN] / 100.0},
      .crossover = {planish_log2(low), planish_log2(high)},
  };
}

static void set(void *state, const float *values)
{
  Depth *depth = state;
  const PlanishDepthValues wanted = values_of(values);
  planish_depth_controls_set(&depth->controls, &wanted, depth->fresh);
  depth->times = planish_transient_times((double)values[STEREO_DEPTH_LENGTH], depth->rate);
  depth->fresh = false;
}

/* What the bands of side (lane 0) and mid (lane 1) get, in dB; the largest lift of the side. */
static double gains_of(Depth *depth, const PlanishTwo bands[BANDS], PlanishTwo gains[BANDS])
{
  const PlanishDepthValues *now = &depth->controls.now;
  double most = 0.0;
  for (int b = 0; b < BANDS; ++b) {
    const PlanishTransientShares heard = planish_transient_next(
        &depth->attacks[b], &depth->times, ONSET_RANGE, (double[]){bands[b][1], 0.0}, 1);
    const double share =
        planish_rounded_gain_next(&depth->shares[b], heard.attack, depth->rounding);
    /* More of the mid on the side is to the left. */
    gains[b] = (PlanishTwo){now->lift[b] * share, -FULL_PAN * now->pan[b] * share};
    most = planish_max(most, gains[b][0]);
  }
  return most;
}

/* What is added to the side. `x`: side and mid as they come in, `late`: as they were when this was
 * their delayed frame. Attacks are known so much earlier than they are moved. */
static double change_of(Depth *depth, PlanishTwo x, PlanishTwo late, double *most)
{
  PlanishTwo bands[BANDS];
  PlanishTwo gains[BANDS];
  PlanishDepthControls *controls = &depth->controls;
  planish_depth_controls_next(controls);
  planish_band_split_next(&depth->split, controls->steps[0], controls->steps[1], x, bands);
  *most = planish_max(*most, gains_of(depth, bands, gains));
  const PlanishTwo placed = planish_placement_next(&depth->placement, gains, controls->tangent[0],
                                                   controls->tangent[1], late);
  const double residue =
      planish_saturation_next(&depth->saturation, bands, controls->now.saturation, late[0]);
  return (placed[0] - late[0]) + (placed[1] - late[1]) - residue;
}

static void process(void *state, const PlanishBlock *block)
{
  Depth *depth = state;
  double side[PLANISH_GRID];
  double mid[PLANISH_GRID];
  double most = 0.0;
  double *left = block->audio[0];
  double *right = block->audio[1];
  for (uint32_t i = 0; i < block->frames; ++i) {
    side[i] = 0.5 * (left[i] - right[i]);
    mid[i] = 0.5 * (left[i] + right[i]);
  }
  /* The audio itself is delayed: what is not changed keeps its bits. */
  planish_delay_process(&depth->delay[0], left, left, PLANISH_SATURATION_DELAY, block->frames);
  planish_delay_process(&depth->delay[1], right, right, PLANISH_SATURATION_DELAY, block->frames);
  for (uint32_t i = 0; i < block->frames; ++i) {
    const PlanishTwo late = {0.5 * (left[i] - right[i]), 0.5 * (left[i] + right[i])};
    const double change = change_of(depth, (PlanishTwo){side[i], mid[i]}, late, &most);
    left[i] += change;
    right[i] -= change;
  }
  planish_peak_hold_push(&depth->most, most, block->frames);
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  const Depth *depth = state;
  values[STEREO_DEPTH_SIDE_CHANGE] = (float)planish_peak_hold_value(&depth->most);
}

const PlanishStage planish_stage = {
    .ports = &stereo_depth_ports,
    .state_size = sizeof(Depth),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
};
