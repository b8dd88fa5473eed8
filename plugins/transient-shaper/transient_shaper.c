/* Transient shaper: a gain that follows attacks and decays, on the whole signal or a shelf of it.
 */
#include "common/dsp/band_form.h"
#include "common/dsp/delay.h"
#include "common/dsp/gain_delay.h"
#include "common/dsp/peak_hold.h"
#include "common/dsp/rounded_gain.h"
#include "common/dsp/transient.h"
#include "common/frame/stage.h"
#include "plugins/transient-shaper/controls.h"
#include "ttl/transient_shaper_ports.h"

#include <string.h>

_Static_assert((int)TRANSIENT_SHAPER_BAND_TYPE_FULL == (int)PLANISH_BAND_FULL &&
                   (int)TRANSIENT_SHAPER_BAND_TYPE_LOW == (int)PLANISH_BAND_LOW_SHELF &&
                   (int)TRANSIENT_SHAPER_BAND_TYPE_HIGH == (int)PLANISH_BAND_HIGH_SHELF,
               "types in the order of the ports");

#define SHELF_Q      0.70710678118 /* the steepest that does not overshoot */
#define NO_HIGH_PASS 0.01          /* tangent: the side chain's high pass is off */

typedef struct {
  PlanishShaperControls controls;
  PlanishTransientTimes times;
  PlanishTransient transient;
  PlanishSideChain chain;
  PlanishSideChainCoefs chain_coefs;
  PlanishGainDelay gain_delay;
  PlanishBandForm form;
  PlanishDelay audio_delay[2];
  PlanishPeakHold most;  /* dB up */
  PlanishPeakHold least; /* dB down, positive */
  PlanishRoundedGain gain;
  double rounding;   /* share of the way in a frame */
  double band_share; /* that chain_coefs were made for */
  double rate;
  uint32_t latency;
  uint32_t at; /* frames since the last grid frame */
  bool fresh;
} Shaper;

static uint32_t latency(double rate, const float *values)
{
  (void)values;
  return planish_frames_of((double)transient_shaper_port_table[TRANSIENT_SHAPER_LOOKAHEAD].maximum,
                           rate);
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Shaper *shaper = state;
  if (!(rate >= 8000.0 && rate <= 768000.0)) {
    return PLANISH_BAD_RATE;
  }
  shaper->rate = rate;
  shaper->latency = latency(rate, NULL);
  shaper->rounding = planish_rounding_share(rate);
  planish_shaper_controls_setup(&shaper->controls, arena, rate);
  planish_transient_setup(&shaper->transient, arena, rate);
  for (int c = 0; c < 2; ++c) {
    planish_delay_setup(&shaper->audio_delay[c], arena, shaper->latency, PLANISH_GRID);
  }
  planish_gain_delay_setup(&shaper->gain_delay, arena, rate, shaper->latency);
  planish_band_form_setup(&shaper->form, rate);
  planish_peak_hold_setup(&shaper->most, rate, 0.0);
  planish_peak_hold_setup(&shaper->least, rate, 0.0);
  return PLANISH_OK;
}

static void reset(void *state)
{
  Shaper *shaper = state;
  memset(&shaper->chain, 0, sizeof shaper->chain);
  memset(&shaper->gain, 0, sizeof shaper->gain);
  planish_transient_reset(&shaper->transient);
  for (int c = 0; c < 2; ++c) {
    planish_delay_reset(&shaper->audio_delay[c]);
  }
  planish_peak_hold_reset(&shaper->most);
  planish_peak_hold_reset(&shaper->least);
  shaper->at = 0;
  shaper->fresh = true;
}

static uint32_t gains_late_by(const Shaper *shaper, const float *values)
{
  const double lookahead = (double)values[TRANSIENT_SHAPER_LOOKAHEAD];
  const uint32_t ahead = planish_frames_of(lookahead, shaper->rate);
  return shaper->latency - (ahead < shaper->latency ? ahead : shaper->latency);
}

static void set(void *state, const float *values)
{
  Shaper *shaper = state;
  const PlanishBandType type = (PlanishBandType)(unsigned)values[TRANSIENT_SHAPER_BAND_TYPE];
  const PlanishShaperValues wanted = {
      .attack_gain = (double)values[TRANSIENT_SHAPER_ATTACK_GAIN],
      .sustain_gain = (double)values[TRANSIENT_SHAPER_SUSTAIN_GAIN],
      .onset_range = (double)values[TRANSIENT_SHAPER_ONSET_RANGE],
      .band_frequency = planish_log2((double)values[TRANSIENT_SHAPER_BAND_FREQ]),
  };
  if (shaper->fresh) {
    planish_gain_delay_reset(&shaper->gain_delay, gains_late_by(shaper, values));
    planish_band_form_jump(&shaper->form, type);
  }
  planish_shaper_controls_set(&shaper->controls, &wanted, shaper->fresh);
  shaper->times = planish_transient_times((double)values[TRANSIENT_SHAPER_LENGTH], shaper->rate);
  shaper->gain_delay.wanted = gains_late_by(shaper, values);
  shaper->form.wanted = type;
  shaper->fresh = false;
}

/* Takes the next frame's controls, and the side chain with them. Returns the share of the band's
 * current type. */
static double move_filters(Shaper *shaper)
{
  const bool changed = planish_shaper_controls_next(&shaper->controls);
  const double share = planish_crossfade_next(&shaper->form.fade);
  if (changed || share != shaper->band_share) {
    const PlanishSvfCoefs band =
        planish_band_form_side_chain(&shaper->form, share, shaper->controls.band_tangent, SHELF_Q);
    planish_side_chain_set(&shaper->chain_coefs, &band, NO_HIGH_PASS, 0.0);
    shaper->band_share = share;
  }
  return share;
}

/* Some frames of a block for which all controls stand still; a mono channel has silence beside
 * it. */
typedef struct {
  const double *in[2];
  double *out[2]; /* the delayed input, to become the result */
  double *gain;   /* dB */
  uint32_t channels;
  uint32_t frames;
} Stretch;

/* What the frames ask for. */
static void find_gains(Shaper *shaper, const Stretch *stretch)
{
  const PlanishShaperValues *now = &shaper->controls.now;
  double heard[2][PLANISH_GRID];
  double attack[PLANISH_GRID];
  double decay[PLANISH_GRID];
  planish_side_chain_process(&shaper->chain, &shaper->chain_coefs, stretch->in,
                             (double *const[2]){heard[0], heard[1]}, stretch->frames);
  planish_transient_process(&shaper->transient, &shaper->times, now->onset_range,
                            (const double *const[2]){heard[0], heard[1]}, stretch->channels, attack,
                            decay, stretch->frames);
  for (uint32_t i = 0; i < stretch->frames; ++i) {
    const double target = now->attack_gain * attack[i] + now->sustain_gain * decay[i];
    stretch->gain[i] = planish_rounded_gain_next(&shaper->gain, target, shaper->rounding);
  }
}

/* Delayed against the audio by what look-ahead leaves. */
static void put_in_time(Shaper *shaper, const Stretch *stretch)
{
  PlanishGainPair gains[PLANISH_GRID];
  for (uint32_t i = 0; i < stretch->frames; ++i) {
    const PlanishGainParts parts = {0.0, stretch->gain[i]};
    gains[i] = (PlanishGainPair){{parts, parts}};
  }
  planish_gain_delay_process(&shaper->gain_delay, gains, stretch->frames);
  for (uint32_t i = 0; i < stretch->frames; ++i) {
    stretch->gain[i] = gains[i].channel[0].below;
  }
}

/* Works out some frames, and returns how many: all, or one while controls move. */
static uint32_t work_out(Shaper *shaper, Stretch stretch)
{
  if (shaper->controls.moving || planish_crossfade_is_moving(&shaper->form.fade)) {
    stretch.frames = 1;
  }
  const double share = move_filters(shaper);
  find_gains(shaper, &stretch);
  put_in_time(shaper, &stretch);
  planish_band_form_process(&shaper->form, (const double *const[2]){stretch.gain, stretch.gain},
                            shaper->controls.band_tangent, SHELF_Q, share, stretch.out,
                            stretch.frames);
  return stretch.frames;
}

static void keep_extremes(Shaper *shaper, const double *gain, uint32_t frames)
{
  double most = 0.0;
  double least = 0.0;
  for (uint32_t i = 0; i < frames; ++i) {
    most = planish_max(most, gain[i]);
    least = planish_min(least, gain[i]);
  }
  planish_peak_hold_push(&shaper->most, most, frames);
  planish_peak_hold_push(&shaper->least, -least, frames);
}

static void process(void *state, const PlanishBlock *block)
{
  static const double silence[PLANISH_GRID] = {0};
  Shaper *shaper = state;
  double out[2][PLANISH_GRID] = {{0}};
  double gain[PLANISH_GRID] = {0};
  const uint32_t frames = block->frames;
  const double *const in[2] = {block->audio[0], block->channels == 2 ? block->audio[1] : silence};
  for (uint32_t c = 0; c < block->channels; ++c) {
    planish_delay_process(&shaper->audio_delay[c], block->audio[c], out[c], shaper->latency,
                          frames);
  }
  if (shaper->at == 0) {
    planish_band_form_grid(&shaper->form, (PlanishTwo){out[0][0], out[1][0]});
    planish_gain_delay_grid(&shaper->gain_delay);
  }
  for (uint32_t i = 0; i < frames;) {
    i += work_out(shaper, (Stretch){.in = {in[0] + i, in[1] + i},
                                    .out = {out[0] + i, out[1] + i},
                                    .gain = gain + i,
                                    .channels = block->channels,
                                    .frames = frames - i});
  }
  for (uint32_t c = 0; c < block->channels; ++c) {
    memcpy(block->audio[c], out[c], frames * sizeof(double));
  }
  keep_extremes(shaper, gain, frames);
  shaper->at = (shaper->at + frames) % PLANISH_GRID;
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  const Shaper *shaper = state;
  const double most = planish_peak_hold_value(&shaper->most);
  const double least = planish_peak_hold_value(&shaper->least);
  values[TRANSIENT_SHAPER_LARGEST_LIFT] = (float)most;
  values[TRANSIENT_SHAPER_LARGEST_CUT] = (float)least;
  values[TRANSIENT_SHAPER_GAIN_CHANGE] = (float)(most > least ? most : -least);
}

const PlanishStage planish_stage = {
    .ports = &transient_shaper_ports,
    .state_size = sizeof(Shaper),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
};
