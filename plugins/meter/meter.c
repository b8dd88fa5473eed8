/* The meter: passes audio untouched and says what it is. */
#include "common/dsp/maths.h"
#include "common/frame/stage.h"
#include "plugins/meter/meter_core.h"
#include "ttl/meter_ports.h"

_Static_assert(PLANISH_GRID <= METER_MOST_FRAMES, "a block fits");

typedef struct {
  MeterCore core;
  double compare; /* LUFS */
  bool measuring;
  bool reset_held; /* the control is down: it has been done */
} Meter;

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Meter *const meter = state;
  return meter_core_setup(&meter->core, arena, rate);
}

static void reset(void *state)
{
  Meter *const meter = state;
  meter_core_reset(&meter->core);
}

static void set(void *state, const float *values)
{
  Meter *const meter = state;
  const bool pressed = values[METER_RESET] > 0.5F;
  if (pressed && !meter->reset_held) {
    meter_core_reset(&meter->core);
  }
  meter->reset_held = pressed;
  meter->measuring = values[METER_MEASURING] > 0.5F;
  meter->compare = (double)values[METER_COMPARE_LOUDNESS];
}

static void process(void *state, const PlanishBlock *block)
{
  Meter *const meter = state;
  if (meter->measuring) {
    const double *const audio[2] = {block->audio[0], block->audio[1]};
    meter_core_process(&meter->core, audio, block->frames);
  }
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  const Meter *const meter = state;
  const MeterReadings *const readings = &meter->core.readings;
  const bool any = readings->integrated > METER_NOTHING;
  values[METER_MOMENTARY] = (float)readings->momentary;
  values[METER_SHORT_TERM] = (float)readings->shortterm;
  values[METER_INTEGRATED] = (float)readings->integrated;
  values[METER_LOUDNESS_RANGE] = (float)readings->range;
  values[METER_DIFFERENCE] = any ? (float)(readings->integrated - meter->compare) : 0.0F;
  values[METER_TRUE_PEAK] = (float)readings->true_peak;
  values[METER_TRUE_PEAK_NOW] = (float)readings->true_peak_now;
  values[METER_SAMPLE_PEAK] = (float)readings->sample_peak;
  values[METER_PLR] = (float)readings->plr;
  values[METER_PSR] = (float)readings->psr;
  values[METER_CORRELATION] = (float)readings->correlation;
  values[METER_MONO_LOSS] = (float)readings->mono_loss;
  values[METER_MID_LEVEL] = (float)readings->mid_level;
  values[METER_SIDE_LEVEL] = (float)readings->side_level;
}

const PlanishStage planish_stage = {
    .ports = &meter_ports,
    .state_size = sizeof(Meter),
    .setup = setup,
    .reset = reset,
    .set = set,
    .process = process,
    .report = report,
};
