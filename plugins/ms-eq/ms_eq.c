/* The mid/side equaliser: eight bands in series, each on its own part of the signal, then the low
 * end to the middle. What nothing is asked of is passed on untouched.
 *
 * In linear phase what stands of all that is one long filter (linear_filter.h), and the bands are
 * their movements alone, ahead of it: of minimum phase, so that they answer at once and sound
 * nothing ahead of an attack. */
#include "common/dsp/delay.h"
#include "common/dsp/peak_hold.h"
#include "common/frame/stage.h"
#include "plugins/ms-eq/eq_band.h"
#include "plugins/ms-eq/linear_filter.h"
#include "plugins/ms-eq/mono_below.h"
#include "plugins/ms-eq/region.h"
#include "ttl/ms_eq_ports.h"

#include <string.h>

enum {
  BANDS = PLANISH_STANDING_BANDS,
  BAND_STRIDE = MS_EQ_B2_TYPE - MS_EQ_B1_TYPE,
  MOVING_BANDS = 4, /* the first ones */
  MOVE_STRIDE = MS_EQ_B2_MOVE - MS_EQ_B1_MOVE,
};

_Static_assert((int)MS_EQ_B1_TYPE_PEAKING - 1 == (int)PLANISH_EQ_PEAKING &&
                   (int)MS_EQ_B1_TYPE_LOW_SHELF - 1 == (int)PLANISH_EQ_LOW_SHELF &&
                   (int)MS_EQ_B1_TYPE_HIGH_SHELF - 1 == (int)PLANISH_EQ_HIGH_SHELF &&
                   (int)MS_EQ_B1_TYPE_HIGH_PASS - 1 == (int)PLANISH_EQ_HIGH_PASS &&
                   (int)MS_EQ_B1_TYPE_LOW_PASS - 1 == (int)PLANISH_EQ_LOW_PASS &&
                   (int)MS_EQ_B1_TYPE_TILT - 1 == (int)PLANISH_EQ_TILT,
               "types in the order of the ports");
_Static_assert((int)MS_EQ_B1_CHANNELS_STEREO == (int)PLANISH_EQ_STEREO &&
                   (int)MS_EQ_B1_CHANNELS_MID == (int)PLANISH_EQ_MID &&
                   (int)MS_EQ_B1_CHANNELS_SIDE == (int)PLANISH_EQ_SIDE &&
                   (int)MS_EQ_B1_CHANNELS_LEFT == (int)PLANISH_EQ_LEFT &&
                   (int)MS_EQ_B1_CHANNELS_RIGHT == (int)PLANISH_EQ_RIGHT,
               "channels in the order of the ports");

typedef struct {
  double rate;
  PlanishEqFit fit;
  PlanishEqBand band[BANDS];
  PlanishMonoBelow mono;
  PlanishRegion region;
  bool linear;
  PlanishLinearFilter filter;
  PlanishDelay past[2];  /* the input, as late as the filter's result */
  PlanishPeakHold most;  /* movement up, dB */
  PlanishPeakHold least; /* movement down, dB, positive */
  uint32_t at;           /* frames since the last grid frame */
  bool is_fresh;         /* reset, and not set since */
} MsEq;

static bool is_rate(double rate)
{
  return rate >= 8000.0 && rate <= 768000.0;
}

static bool is_linear(const float *values)
{
  return (unsigned)values[MS_EQ_PHASE] == MS_EQ_PHASE_LINEAR;
}

static uint32_t latency(double rate, const float *values)
{
  const bool linear = values == NULL || is_linear(values);
  return linear && is_rate(rate) ? planish_linear_filter_latency(rate) : 0;
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  MsEq *eq = state;
  if (!is_rate(rate)) {
    return PLANISH_BAD_RATE;
  }
  eq->rate = rate;
  planish_eq_fit_setup(&eq->fit, rate);
  for (int i = 0; i < BANDS; ++i) {
    planish_eq_band_setup(&eq->band[i], arena, rate, i < MOVING_BANDS);
  }
  planish_mono_below_setup(&eq->mono, arena, rate);
  planish_region_setup(&eq->region, rate);
  planish_peak_hold_setup(&eq->most, rate, 0.0);
  planish_peak_hold_setup(&eq->least, rate, 0.0);
  for (int c = 0; c < 2; ++c) {
    planish_delay_setup(&eq->past[c], arena, latency(rate, NULL), PLANISH_GRID);
  }
  return planish_linear_filter_setup(&eq->filter, arena, rate);
}

static void reset(void *state)
{
  MsEq *eq = state;
  planish_peak_hold_reset(&eq->most);
  planish_peak_hold_reset(&eq->least);
  eq->at = 0;
  eq->is_fresh = true;
}

static PlanishEqBandControls controls_of(const float *values, int band)
{
  const float *b = values + (ptrdiff_t)band * BAND_STRIDE;
  const unsigned type = (unsigned)b[MS_EQ_B1_TYPE];
  const bool on = type != MS_EQ_B1_TYPE_OFF;
  return (PlanishEqBandControls){
      .shape =
          {
              .on = on,
              .type = on ? (PlanishEqType)(type - 1) : PLANISH_EQ_PEAKING,
              .order = (unsigned)b[MS_EQ_B1_ORDER],
              .channels = (PlanishEqChannels)(unsigned)b[MS_EQ_B1_CHANNELS],
              .moves_alone = is_linear(values),
          },
      .frequency = (double)b[MS_EQ_B1_FREQ],
      .gain = (double)b[MS_EQ_B1_GAIN],
      .q = (double)b[MS_EQ_B1_Q],
  };
}

static void add_movement(PlanishEqBandControls *controls, const float *values, int band,
                         const PlanishGainTimes *times)
{
  const float *b = values + (ptrdiff_t)band * MOVE_STRIDE;
  controls->move = (double)b[MS_EQ_B1_MOVE];
  controls->threshold = (double)b[MS_EQ_B1_THRESHOLD];
  controls->times = *times;
}

/* What stands of a band. */
static PlanishStandingBand standing_band(const PlanishEqBandControls *controls)
{
  return (PlanishStandingBand){
      .on = controls->shape.on,
      .channels = controls->shape.channels,
      .setting =
          {
              .type = controls->shape.type,
              .order = controls->shape.order,
              .frequency = controls->frequency,
              .gain = controls->gain,
              .q = controls->q,
          },
  };
}

/* Once the phase is known. */
static void start_anew(MsEq *eq, const float *values)
{
  eq->linear = is_linear(values);
  if (eq->linear) {
    planish_linear_filter_reset(&eq->filter);
    planish_delay_reset(&eq->past[0]);
    planish_delay_reset(&eq->past[1]);
  }
}

static void set(void *state, const float *values)
{
  MsEq *eq = state;
  PlanishStanding standing = {0};
  const PlanishGainTimes times = planish_eq_movement_times(
      (double)values[MS_EQ_MOVE_ATTACK], (double)values[MS_EQ_MOVE_RELEASE], eq->rate);
  const unsigned listened = (unsigned)values[MS_EQ_LISTEN_BAND];
  if (eq->is_fresh) {
    start_anew(eq, values);
  }
  for (int i = 0; i < BANDS; ++i) {
    PlanishEqBandControls controls = controls_of(values, i);
    standing.band[i] = standing_band(&controls);
    if (i < MOVING_BANDS) {
      add_movement(&controls, values, i, &times);
    }
    if (eq->is_fresh) {
      planish_eq_band_jump(&eq->band[i], &eq->fit, &controls);
    } else {
      planish_eq_band_set(&eq->band[i], &controls,
                          planish_region_watches(&eq->region, (unsigned)i + 1));
    }
  }
  const double below = (double)values[MS_EQ_MONO_BELOW];
  const double amount = (double)values[MS_EQ_MONO_AMOUNT] / 100.0;
  const bool mono = values[MS_EQ_MONO_BELOW] > ms_eq_ports.ports[MS_EQ_MONO_BELOW].minimum;
  standing.mono = mono;
  standing.mono_below = below;
  standing.mono_amount = amount;
  planish_linear_filter_set(&eq->filter, &standing);
  if (eq->is_fresh) {
    planish_mono_below_jump(&eq->mono, mono, below, amount);
    planish_region_jump(&eq->region, eq->band, listened);
  } else {
    planish_mono_below_set(&eq->mono, mono, below, amount);
    eq->region.wanted = listened;
  }
  eq->is_fresh = false;
}

static bool look_at_grid(MsEq *eq)
{
  bool sounding = false;
  for (int i = 0; i < BANDS; ++i) {
    if (eq->at == 0) {
      planish_eq_band_grid(&eq->band[i], &eq->fit);
    }
    sounding = sounding || planish_eq_band_is_sounding(&eq->band[i]);
  }
  if (eq->at == 0) {
    planish_mono_below_grid(&eq->mono);
    planish_region_grid(&eq->region, eq->band);
  }
  return sounding || planish_mono_below_is_sounding(&eq->mono) ||
         planish_region_is_sounding(&eq->region);
}

static void keep_extremes(MsEq *eq, const PlanishEqExtremes *extremes, uint32_t frames)
{
  planish_peak_hold_push(&eq->most, extremes->most, frames);
  planish_peak_hold_push(&eq->least, -extremes->least, frames);
}

static void join(double *const *from, PlanishTwo *audio, uint32_t frames)
{
  for (uint32_t n = 0; n < frames; ++n) {
    audio[n] = (PlanishTwo){from[0][n], from[1][n]};
  }
}

static void part(const PlanishTwo *audio, double *const *to, uint32_t frames)
{
  for (uint32_t n = 0; n < frames; ++n) {
    to[0][n] = audio[n][0];
    to[1][n] = audio[n][1];
  }
}

static void process_bands(MsEq *eq, const PlanishTwo *input, PlanishTwo *audio, uint32_t at,
                          uint32_t frames)
{
  PlanishEqExtremes extremes = {0.0, 0.0};
  for (int i = 0; i < BANDS; ++i) {
    planish_eq_band_process(&eq->band[i], eq->rate, input, audio, at, frames, &extremes);
  }
  keep_extremes(eq, &extremes, frames);
}

static void process_minimum(MsEq *eq, double *const *both, uint32_t at, uint32_t frames)
{
  PlanishTwo input[PLANISH_GRID];
  PlanishTwo audio[PLANISH_GRID];
  join(both, input, frames);
  memcpy(audio, input, frames * sizeof *audio);
  process_bands(eq, input, audio, at, frames);
  if (planish_mono_below_is_sounding(&eq->mono)) {
    planish_mono_below_process(&eq->mono, audio, frames);
  }
  if (planish_region_is_sounding(&eq->region)) {
    planish_region_process(&eq->region, input, audio, frames);
  }
  part(audio, both, frames);
}

/* The input of a while ago: what is listened to, and what the fold's loss is read from, since the
 * sound just before the fold is nowhere to be had. */
static void process_past(MsEq *eq, const PlanishTwo *past, double *const *both, uint32_t frames)
{
  PlanishTwo audio[PLANISH_GRID];
  if (planish_mono_below_is_sounding(&eq->mono)) {
    memcpy(audio, past, frames * sizeof *audio);
    planish_mono_below_process(&eq->mono, audio, frames);
  }
  if (planish_region_is_sounding(&eq->region)) {
    join(both, audio, frames);
    planish_region_process(&eq->region, past, audio, frames);
    part(audio, both, frames);
  }
}

static void process_linear(MsEq *eq, double *const *both, uint32_t at, uint32_t frames)
{
  double past[2][PLANISH_GRID];
  double *const pasts[2] = {past[0], past[1]};
  PlanishTwo input[PLANISH_GRID];
  PlanishTwo audio[PLANISH_GRID];
  for (int c = 0; c < 2; ++c) {
    planish_delay_process(&eq->past[c], both[c], past[c], eq->filter.latency, frames);
  }
  join(both, input, frames);
  memcpy(audio, input, frames * sizeof *audio);
  process_bands(eq, input, audio, at, frames);
  part(audio, both, frames);
  planish_linear_filter_process(&eq->filter, both, frames);
  join(pasts, input, frames);
  process_past(eq, input, both, frames);
}

static void process(void *state, const PlanishBlock *block)
{
  MsEq *eq = state;
  const bool sounding = look_at_grid(eq);
  const uint32_t at = eq->at;
  eq->at = (at + block->frames) % PLANISH_GRID;
  if (block->channels == 2 && eq->linear) {
    process_linear(eq, block->audio, at, block->frames);
  } else if (block->channels == 2 && sounding) {
    process_minimum(eq, block->audio, at, block->frames);
  } else {
    keep_extremes(eq, &(PlanishEqExtremes){0.0, 0.0}, block->frames);
  }
}

static void report(void *state, float *values, uint32_t frames)
{
  const MsEq *eq = state;
  (void)frames;
  values[MS_EQ_MONO_LOSS] = (float)planish_mono_below_loss(&eq->mono);
  const double most = planish_peak_hold_value(&eq->most);
  const double least = planish_peak_hold_value(&eq->least);
  values[MS_EQ_LARGEST_MOVE] = (float)(most > least ? most : -least);
}

static void release(void *state)
{
  MsEq *eq = state;
  planish_linear_filter_release(&eq->filter);
}

const PlanishStage planish_stage = {
    .ports = &ms_eq_ports,
    .state_size = sizeof(MsEq),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
    .release = release,
};
