/* Bidirectional dynamics: down above a threshold, up or down below a lower one, each way by a
 * bounded number of dB, on the whole signal or a band of it. */
#include "common/dsp/band_form.h"
#include "common/dsp/delay.h"
#include "common/dsp/dynamic_gain.h"
#include "common/dsp/gain_delay.h"
#include "common/dsp/make_up.h"
#include "common/dsp/peak_hold.h"
#include "common/frame/stage.h"
#include "plugins/dynamics/controls.h"
#include "ttl/dynamics_ports.h"

#include <string.h>

_Static_assert((int)DYNAMICS_BAND_TYPE_FULL == (int)PLANISH_BAND_FULL &&
                   (int)DYNAMICS_BAND_TYPE_LOW_SHELF == (int)PLANISH_BAND_LOW_SHELF &&
                   (int)DYNAMICS_BAND_TYPE_HIGH_SHELF == (int)PLANISH_BAND_HIGH_SHELF &&
                   (int)DYNAMICS_BAND_TYPE_PEAKING == (int)PLANISH_BAND_PEAKING,
               "types in the order of the ports");

typedef struct {
  PlanishDynamicsControls controls;
  PlanishGainTimes times;
  PlanishSideChain chain;
  PlanishSideChainCoefs chain_coefs;
  PlanishDynamicGain gain;
  PlanishGainDelay gain_delay;
  PlanishBandForm form;
  PlanishDelay audio_delay[2];
  PlanishDelay heard_delay[2]; /* of the detector's signal */
  PlanishMakeUp make_up;
  PlanishPeakHold most;  /* dB up */
  PlanishPeakHold least; /* dB down, positive */
  double band_share;     /* that chain_coefs were made for */
  double rate;
  uint32_t latency;
  uint32_t at;    /* frames since the last grid frame */
  bool making_up; /* make-up is on, or fading out */
  bool fresh;
} Dynamics;

static uint32_t latency(double rate, const float *values)
{
  (void)values;
  return planish_frames_of((double)dynamics_port_table[DYNAMICS_LOOKAHEAD].maximum, rate);
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Dynamics *dynamics = state;
  if (!(rate >= 8000.0 && rate <= 768000.0)) {
    return PLANISH_BAD_RATE;
  }
  const double longest = (double)dynamics_port_table[DYNAMICS_HOLD].maximum;
  dynamics->rate = rate;
  dynamics->latency = latency(rate, NULL);
  planish_dynamics_controls_setup(&dynamics->controls, arena, rate);
  planish_dynamic_gain_setup(&dynamics->gain, arena, rate, longest, true);
  for (int c = 0; c < 2; ++c) {
    planish_delay_setup(&dynamics->audio_delay[c], arena, dynamics->latency, PLANISH_GRID);
    planish_delay_setup(&dynamics->heard_delay[c], arena, dynamics->latency, PLANISH_GRID);
  }
  planish_gain_delay_setup(&dynamics->gain_delay, arena, rate, dynamics->latency);
  planish_band_form_setup(&dynamics->form, rate);
  planish_make_up_setup(&dynamics->make_up, arena, rate);
  planish_peak_hold_setup(&dynamics->most, rate, 0.0);
  planish_peak_hold_setup(&dynamics->least, rate, 0.0);
  return PLANISH_OK;
}

static void reset(void *state)
{
  Dynamics *dynamics = state;
  memset(&dynamics->chain, 0, sizeof dynamics->chain);
  for (int c = 0; c < 2; ++c) {
    planish_delay_reset(&dynamics->audio_delay[c]);
    planish_delay_reset(&dynamics->heard_delay[c]);
  }
  planish_peak_hold_reset(&dynamics->most);
  planish_peak_hold_reset(&dynamics->least);
  dynamics->at = 0;
  dynamics->fresh = true;
}

static double is_on(bool on)
{
  return on ? 1.0 : 0.0;
}

static PlanishDynamicsValues values_of(const float *v)
{
  const PlanishGainCurve curve = {
      .threshold = (double)v[DYNAMICS_THRESHOLD],
      .slope_above = 1.0 - 1.0 / (double)v[DYNAMICS_RATIO],
      .knee = (double)v[DYNAMICS_KNEE],
      .range_above = (double)v[DYNAMICS_MAX_ABOVE],
      .dead_band = (double)v[DYNAMICS_DEAD_BAND],
      .slope_below = (double)v[DYNAMICS_AMOUNT_BELOW] / 100.0,
      .range_below = (double)v[DYNAMICS_MAX_BELOW],
  };
  const PlanishPort *high_pass = &dynamics_port_table[DYNAMICS_DETECTOR_HIGH_PASS];
  return (PlanishDynamicsValues){
      .law =
          {
              .curve = curve,
              .mean_share = (double)v[DYNAMICS_PEAK_TO_MEAN] / 100.0,
              .link = (double)v[DYNAMICS_LINK] / 100.0,
              .lift_floor = (double)v[DYNAMICS_LIFT_FLOOR],
              .relative = is_on(v[DYNAMICS_DETECTOR] == (float)DYNAMICS_DETECTOR_RELATIVE),
          },
      .band_frequency = planish_log2((double)v[DYNAMICS_BAND_FREQ]),
      .band_q = planish_log2((double)v[DYNAMICS_BAND_Q]),
      .high_pass = planish_log2((double)v[DYNAMICS_DETECTOR_HIGH_PASS]),
      .high_pass_share = is_on(v[DYNAMICS_DETECTOR_HIGH_PASS] > high_pass->minimum),
      .make_up = is_on(v[DYNAMICS_MAKEUP] == (float)DYNAMICS_MAKEUP_AUTO),
  };
}

static uint32_t gains_late_by(const Dynamics *dynamics, const float *values)
{
  const uint32_t ahead = planish_frames_of((double)values[DYNAMICS_LOOKAHEAD], dynamics->rate);
  return dynamics->latency - (ahead < dynamics->latency ? ahead : dynamics->latency);
}

static void jump(Dynamics *dynamics, const float *values)
{
  planish_dynamic_gain_reset(&dynamics->gain, (double)values[DYNAMICS_HOLD]);
  planish_gain_delay_reset(&dynamics->gain_delay, gains_late_by(dynamics, values));
  planish_band_form_jump(&dynamics->form, (PlanishBandType)(unsigned)values[DYNAMICS_BAND_TYPE]);
  dynamics->making_up = false;
}

static void set(void *state, const float *values)
{
  Dynamics *dynamics = state;
  const PlanishDynamicsValues wanted = values_of(values);
  if (dynamics->fresh) {
    jump(dynamics, values);
  }
  planish_dynamics_controls_set(&dynamics->controls, &wanted, dynamics->fresh);
  if (wanted.make_up > 0.0 && !dynamics->making_up) {
    planish_make_up_reset(&dynamics->make_up);
    dynamics->making_up = true;
  }
  dynamics->times = planish_gain_times((double)values[DYNAMICS_ATTACK],
                                       (double)values[DYNAMICS_RELEASE], dynamics->rate);
  planish_dynamic_gain_set_hold(&dynamics->gain, (double)values[DYNAMICS_HOLD]);
  dynamics->gain_delay.wanted = gains_late_by(dynamics, values);
  dynamics->form.wanted = (PlanishBandType)(unsigned)values[DYNAMICS_BAND_TYPE];
  dynamics->fresh = false;
}

/* Takes the next frame's controls, and the side chain with them. Returns the share of the band's
 * current type. */
static double move_filters(Dynamics *dynamics)
{
  const PlanishDynamicsControls *controls = &dynamics->controls;
  const bool changed = planish_dynamics_controls_next(&dynamics->controls);
  const double share = planish_crossfade_next(&dynamics->form.fade);
  if (changed || share != dynamics->band_share) {
    const PlanishSvfCoefs band =
        planish_band_form_side_chain(&dynamics->form, share, controls->band_tangent, controls->q);
    planish_side_chain_set(&dynamics->chain_coefs, &band, controls->high_pass_tangent,
                           controls->now.high_pass_share);
    dynamics->band_share = share;
  }
  return share;
}

/* Some frames of a block for which all controls stand still; a mono channel has silence beside
 * it. */
typedef struct {
  const double *in[2];
  double *heard[2]; /* the detector's signal */
  double *out[2];   /* the delayed input, to become the result */
  double *gain[2];  /* dB */
  uint32_t channels;
  uint32_t frames;
} Stretch;

static Stretch stretch_of(const PlanishBlock *block, const double *const in[2],
                          double (*heard)[PLANISH_GRID], double (*out)[PLANISH_GRID],
                          double (*gain)[PLANISH_GRID], uint32_t from)
{
  return (Stretch){
      .in = {in[0] + from, in[1] + from},
      .heard = {heard[0] + from, heard[1] + from},
      .out = {out[0] + from, out[1] + from},
      .gain = {gain[0] + from, gain[1] + from},
      .channels = block->channels,
      .frames = block->frames - from,
  };
}

static void find_gains(Dynamics *dynamics, const Stretch *stretch)
{
  const PlanishGainLaw *law = &dynamics->controls.now.law;
  PlanishGainPair gains[PLANISH_GRID];
  planish_side_chain_process(&dynamics->chain, &dynamics->chain_coefs, stretch->in, stretch->heard,
                             stretch->frames);
  planish_dynamic_gain_process(&dynamics->gain, law, &dynamics->times,
                               (const double *const[2]){stretch->heard[0], stretch->heard[1]},
                               stretch->in, stretch->channels, gains, stretch->frames);
  planish_gain_delay_process(&dynamics->gain_delay, gains, stretch->frames);
  for (uint32_t i = 0; i < stretch->frames; ++i) {
    stretch->gain[0][i] = planish_gain_bounded(&gains[i].channel[0], &law->curve);
    stretch->gain[1][i] = stretch->channels == 2
                              ? planish_gain_bounded(&gains[i].channel[1], &law->curve)
                              : stretch->gain[0][i];
  }
}

static bool stands_still(const Dynamics *dynamics)
{
  return !dynamics->controls.moving && !planish_crossfade_is_moving(&dynamics->form.fade);
}

/* Works out some frames, and returns how many: all, or one while controls move. */
static uint32_t work_out(Dynamics *dynamics, Stretch stretch, double *shares)
{
  stretch.frames = stands_still(dynamics) ? stretch.frames : 1;
  const double share = move_filters(dynamics);
  find_gains(dynamics, &stretch);
  planish_band_form_process(
      &dynamics->form, (const double *const[2]){stretch.gain[0], stretch.gain[1]},
      dynamics->controls.band_tangent, dynamics->controls.q, share, stretch.out, stretch.frames);
  for (uint32_t i = 0; i < stretch.frames; ++i) {
    shares[i] = dynamics->controls.now.make_up;
  }
  return stretch.frames;
}

static void give_back(Dynamics *dynamics, const PlanishBlock *block, double *const *dry,
                      const double *shares)
{
  double gain[PLANISH_GRID];
  if (!dynamics->making_up) {
    return;
  }
  planish_make_up_process(&dynamics->make_up, dry, block->audio, block->channels, block->frames,
                          gain);
  for (uint32_t i = 0; i < block->frames; ++i) {
    const double factor = planish_gain_of(shares[i] * gain[i]);
    for (uint32_t c = 0; c < block->channels; ++c) {
      block->audio[c][i] *= factor;
    }
  }
  const uint32_t end = dynamics->at + block->frames;
  dynamics->making_up =
      end < PLANISH_GRID || dynamics->controls.moving || shares[block->frames - 1] > 0.0;
}

static void let_hear(Dynamics *dynamics, const PlanishBlock *block, double *const *heard)
{
  const uint32_t channels = block->channels == 2 ? 2 : 1;
  for (uint32_t c = 0; c < channels; ++c) {
    double *out = block->points != NULL ? block->points[0][c] : heard[c];
    planish_delay_process(&dynamics->heard_delay[c], heard[c], out, dynamics->latency,
                          block->frames);
  }
}

static void keep_extremes(Dynamics *dynamics, double gain[2][PLANISH_GRID],
                          const PlanishBlock *block)
{
  double most = 0.0;
  double least = 0.0;
  for (uint32_t c = 0; c < block->channels; ++c) {
    for (uint32_t i = 0; i < block->frames; ++i) {
      most = planish_max(most, gain[c][i]);
      least = planish_min(least, gain[c][i]);
    }
  }
  planish_peak_hold_push(&dynamics->most, most, block->frames);
  planish_peak_hold_push(&dynamics->least, -least, block->frames);
}

static void at_grid_frame(Dynamics *dynamics, double dry[2][PLANISH_GRID])
{
  planish_band_form_grid(&dynamics->form, (PlanishTwo){dry[0][0], dry[1][0]});
  planish_gain_delay_grid(&dynamics->gain_delay);
}

static void process(void *state, const PlanishBlock *block)
{
  static const double silence[PLANISH_GRID] = {0};
  Dynamics *dynamics = state;
  double dry[2][PLANISH_GRID] = {{0}};
  double out[2][PLANISH_GRID] = {{0}};
  double heard[2][PLANISH_GRID];
  double gain[2][PLANISH_GRID] = {{0}};
  double shares[PLANISH_GRID] = {0};
  const size_t size = block->frames * sizeof(double);
  const double *const in[2] = {block->audio[0], block->channels == 2 ? block->audio[1] : silence};
  for (uint32_t c = 0; c < block->channels; ++c) {
    planish_delay_process(&dynamics->audio_delay[c], block->audio[c], dry[c], dynamics->latency,
                          block->frames);
    memcpy(out[c], dry[c], size);
  }
  if (dynamics->at == 0) {
    at_grid_frame(dynamics, dry);
  }
  for (uint32_t i = 0; i < block->frames;) {
    i += work_out(dynamics, stretch_of(block, in, heard, out, gain, i), shares + i);
  }
  for (uint32_t c = 0; c < block->channels; ++c) {
    memcpy(block->audio[c], out[c], size);
  }
  keep_extremes(dynamics, gain, block);
  give_back(dynamics, block, (double *const[2]){dry[0], dry[1]}, shares);
  let_hear(dynamics, block, (double *const[2]){heard[0], heard[1]});
  dynamics->at = (dynamics->at + block->frames) % PLANISH_GRID;
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  const Dynamics *dynamics = state;
  const double most = planish_peak_hold_value(&dynamics->most);
  const double least = planish_peak_hold_value(&dynamics->least);
  values[DYNAMICS_LARGEST_LIFT] = (float)most;
  values[DYNAMICS_LARGEST_CUT] = (float)least;
  values[DYNAMICS_GAIN_CHANGE] = (float)(most > least ? most : -least);
}

const PlanishStage planish_stage = {
    .ports = &dynamics_ports,
    .state_size = sizeof(Dynamics),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
};
