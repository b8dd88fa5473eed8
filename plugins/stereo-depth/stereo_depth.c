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
  double lift;           /* the largest of the block so far */
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

/* What the bands of side and mid get, in dB. Returns the largest lift of the side. */
static double find_gains(Depth *depth, const PlanishDepthBands *bands, PlanishDepthBands *gains,
                         uint32_t frames)
{
  const PlanishDepthValues *now = &depth->controls.now;
  double most = 0.0;
  for (int b = 0; b < BANDS; ++b) {
    double attack[PLANISH_GRID];
    planish_transient_process(&depth->attacks[b], &depth->times, ONSET_RANGE,
                              (const double *const[2]){bands->mid[b], NULL}, 1, attack, NULL,
                              frames);
    for (uint32_t i = 0; i < frames; ++i) {
      const double share = planish_rounded_gain_next(&depth->shares[b], attack[i], depth->rounding);
      gains->side[b][i] = now->lift[b] * share;
      /* More of the mid on the side is to the left. */
      gains->mid[b][i] = -FULL_PAN * now->pan[b] * share;
      most = planish_max(most, gains->side[b][i]);
    }
  }
  return most;
}

/* What is added to the side of some frames for which all controls stand still. side, mid: as they
 * come in; late: as they were when this was their delayed frame. Attacks are known so much earlier
 * than they are moved. */
static void find_change(Depth *depth, const double *side, const double *mid,
                        const double *const late[2], double *change, uint32_t frames)
{
  PlanishDepthControls *controls = &depth->controls;
  PlanishDepthBands bands;
  PlanishDepthBands gains;
  double placed[2][PLANISH_GRID];
  double residue[PLANISH_GRID];
  planish_depth_controls_next(controls);
  planish_band_split_process(&depth->split, controls->steps[0], controls->steps[1], side, mid,
                             &bands, frames);
  depth->lift = planish_max(depth->lift, find_gains(depth, &bands, &gains, frames));
  memcpy(placed[0], late[0], frames * sizeof(double));
  memcpy(placed[1], late[1], frames * sizeof(double));
  planish_placement_process(&depth->placement, &gains, controls->tangent[0], controls->tangent[1],
                            (double *const[2]){placed[0], placed[1]}, frames);
  planish_saturation_process(&depth->saturation, bands.side, controls->now.saturation, late[0],
                             residue, frames);
  for (uint32_t i = 0; i < frames; ++i) {
    change[i] = (placed[0][i] - late[0][i]) + (placed[1][i] - late[1][i]) - residue[i];
  }
}

static void split_sides(const double *left, const double *right, double *side, double *mid,
                        uint32_t frames)
{
  for (uint32_t i = 0; i < frames; ++i) {
    side[i] = 0.5 * (left[i] - right[i]);
    mid[i] = 0.5 * (left[i] + right[i]);
  }
}

static void process(void *state, const PlanishBlock *block)
{
  Depth *depth = state;
  double now[2][PLANISH_GRID];
  double late[2][PLANISH_GRID];
  double change[PLANISH_GRID];
  double *left = block->audio[0];
  double *right = block->audio[1];
  split_sides(left, right, now[0], now[1], block->frames);
  /* The audio itself is delayed: what is not changed keeps its bits. */
  planish_delay_process(&depth->delay[0], left, left, PLANISH_SATURATION_DELAY, block->frames);
  planish_delay_process(&depth->delay[1], right, right, PLANISH_SATURATION_DELAY, block->frames);
  split_sides(left, right, late[0], late[1], block->frames);
  depth->lift = 0.0;
  for (uint32_t i = 0; i < block->frames;) {
    const uint32_t frames = depth->controls.moving ? 1 : block->frames - i;
    find_change(depth, now[0] + i, now[1] + i, (const double *const[2]){late[0] + i, late[1] + i},
                change + i, frames);
    i += frames;
  }
  for (uint32_t i = 0; i < block->frames; ++i) {
    left[i] += change[i];
    right[i] -= change[i];
  }
  planish_peak_hold_push(&depth->most, depth->lift, block->frames);
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
