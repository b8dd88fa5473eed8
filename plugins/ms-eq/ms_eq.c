/* The mid/side equaliser: eight bands in series, each on its own part of the signal, then the low
 * end to the middle. What nothing is asked of is passed on untouched. */
#include "common/dsp/peak_hold.h"
#include "common/frame/stage.h"
#include "plugins/ms-eq/eq_band.h"
#include "plugins/ms-eq/mono_below.h"
#include "plugins/ms-eq/region.h"
#include "ttl/ms_eq_ports.h"

enum {
  BANDS = 8,
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
  PlanishPeakHold most;  /* movement up, dB */
  PlanishPeakHold least; /* movement down, dB, positive */
  uint32_t at;           /* frames since the last grid frame */
  bool is_fresh;         /* reset, and not set since */
} MsEq;

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  MsEq *eq = state;
  if (!(rate >= 8000.0 && rate <= 768000.0)) {
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
  return PLANISH_OK;
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

static void set(void *state, const float *values)
{
  MsEq *eq = state;
  const PlanishGainTimes times = planish_eq_movement_times(
      (double)values[MS_EQ_MOVE_ATTACK], (double)values[MS_EQ_MOVE_RELEASE], eq->rate);
  const unsigned listened = (unsigned)values[MS_EQ_LISTEN_BAND];
  for (int i = 0; i < BANDS; ++i) {
    PlanishEqBandControls controls = controls_of(values, i);
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

static void process(void *state, const PlanishBlock *block)
{
  MsEq *eq = state;
  const bool sounding = look_at_grid(eq);
  const uint32_t at = eq->at;
  PlanishEqExtremes extremes = {0.0, 0.0};
  eq->at = (at + block->frames) % PLANISH_GRID;
  if (!sounding || block->channels != 2) {
    keep_extremes(eq, &extremes, block->frames);
    return;
  }
  PlanishTwo input[PLANISH_GRID];
  PlanishTwo audio[PLANISH_GRID];
  for (uint32_t n = 0; n < block->frames; ++n) {
    input[n] = (PlanishTwo){block->audio[0][n], block->audio[1][n]};
    audio[n] = input[n];
  }
  for (int i = 0; i < BANDS; ++i) {
    planish_eq_band_process(&eq->band[i], eq->rate, input, audio, at, block->frames, &extremes);
  }
  keep_extremes(eq, &extremes, block->frames);
  if (planish_mono_below_is_sounding(&eq->mono)) {
    planish_mono_below_process(&eq->mono, audio, block->frames);
  }
  if (planish_region_is_sounding(&eq->region)) {
    planish_region_process(&eq->region, input, audio, block->frames);
  }
  for (uint32_t n = 0; n < block->frames; ++n) {
    block->audio[0][n] = audio[n][0];
    block->audio[1][n] = audio[n][1];
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

const PlanishStage planish_stage = {
    .ports = &ms_eq_ports,
    .state_size = sizeof(MsEq),
    .setup = setup,
    .reset = reset,
    .set = set,
    .process = process,
    .report = report,
};
