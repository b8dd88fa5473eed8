#include "plugins/meter/meter_core.h"

#include "common/dsp/maths.h"

#include <string.h>

enum { STEPS = PLANISH_LOUDNESS_SHORTTERM_STEPS, LOOK_EVERY = 10 };

/* Half the sum, in both channels: one with the power of two. */
#define MONO_GAIN 0.70710678118654752440

static double bounded(double level, double least)
{
  return level > least ? level : least; /* -HUGE_VAL and NAN too */
}

PlanishStatus meter_core_setup(MeterCore *core, PlanishArena *arena, double rate)
{
  const PlanishStatus status = planish_loudness_setup(&core->loudness, arena, rate, 2);
  const PlanishStatus mono = planish_loudness_setup(&core->mono, arena, rate, 1);
  for (int c = 0; c < 2; ++c) {
    planish_true_peak_setup(&core->detectors[c], arena, PLANISH_TRUE_PEAK_TAPS);
  }
  core->steps = planish_arena_take(arena, STEPS, sizeof *core->steps);
  return status != PLANISH_OK ? status : mono;
}

void meter_core_reset(MeterCore *core)
{
  planish_loudness_reset(&core->loudness);
  planish_loudness_reset(&core->mono);
  for (int c = 0; c < 2; ++c) {
    planish_true_peak_reset(&core->detectors[c]);
  }
  memset(core->steps, 0, STEPS * sizeof *core->steps);
  memset(core->step_frames, 0, sizeof core->step_frames);
  core->step = (MeterStep){0.0, 0.0, 0.0, 0.0};
  core->frame = 0;
  core->true_peak = 0.0;
  core->sample_peak = 0.0;
  core->readings = (MeterReadings){
      .momentary = METER_NOTHING,
      .shortterm = METER_NOTHING,
      .integrated = METER_NOTHING,
      .true_peak = METER_SILENCE,
      .true_peak_now = METER_SILENCE,
      .sample_peak = METER_SILENCE,
      .mid_level = METER_SILENCE,
      .side_level = METER_SILENCE,
  };
}

static void look_at_channels(MeterCore *core)
{
  MeterReadings *const readings = &core->readings;
  MeterStep all = {0.0, 0.0, 0.0, 0.0};
  uint64_t frames = 0;
  for (int n = 0; n < STEPS; ++n) {
    const MeterStep *const step = &core->steps[n];
    all.peak = planish_max(all.peak, step->peak);
    all.left += step->left;
    all.right += step->right;
    all.product += step->product;
    frames += core->step_frames[n];
  }
  const double power = all.left + all.right;
  const double mid = 0.25 * (power + 2.0 * all.product) / (double)frames;
  const double side = 0.25 * (power - 2.0 * all.product) / (double)frames;
  const double both = all.left * all.right;
  readings->mid_level = bounded(planish_level_of_power(planish_max(mid, 0.0)), METER_SILENCE);
  readings->side_level = bounded(planish_level_of_power(planish_max(side, 0.0)), METER_SILENCE);
  readings->correlation = both > 1e-24 ? planish_clamp(all.product / sqrt(both), -1.0, 1.0) : 0.0;
  readings->true_peak_now = bounded(planish_level_of(all.peak), METER_SILENCE);
  readings->psr = readings->shortterm > METER_NOTHING && readings->true_peak_now > METER_SILENCE
                      ? readings->true_peak_now - readings->shortterm
                      : 0.0;
}

/* Gates take some hundred operations: ten times a second is as often as their blocks come. */
static void look_at_all(MeterCore *core)
{
  MeterReadings *const readings = &core->readings;
  readings->integrated = bounded(planish_loudness_integrated(&core->loudness), METER_NOTHING);
  const double range = planish_loudness_range(&core->loudness);
  readings->range = range > 0.0 ? range : 0.0;
  const double mono = bounded(planish_loudness_integrated(&core->mono), METER_NOTHING);
  readings->mono_loss = planish_clamp(readings->integrated - mono, 0.0, METER_MOST_LOSS);
}

static void end_step(MeterCore *core)
{
  MeterReadings *const readings = &core->readings;
  const uint64_t steps = core->loudness.steps;
  const uint64_t place = steps % STEPS;
  core->steps[place] = core->step;
  core->step_frames[place] = core->frame;
  core->step = (MeterStep){0.0, 0.0, 0.0, 0.0};
  core->frame = 0;
  readings->momentary = bounded(planish_loudness_momentary(&core->loudness), METER_NOTHING);
  readings->shortterm = bounded(planish_loudness_shortterm(&core->loudness), METER_NOTHING);
  readings->sample_peak = bounded(planish_level_of(core->sample_peak), METER_SILENCE);
  readings->true_peak = bounded(planish_level_of(core->true_peak), METER_SILENCE);
  look_at_channels(core);
  if (steps % LOOK_EVERY == 0) {
    look_at_all(core);
  }
  readings->plr = readings->integrated > METER_NOTHING && readings->true_peak > METER_SILENCE
                      ? readings->true_peak - readings->integrated
                      : 0.0;
}

/* Frames that all lie within one step. */
static void measure(MeterCore *core, const double *const audio[2], uint32_t frames)
{
  double mono[METER_MOST_FRAMES];
  double peaks[METER_MOST_FRAMES];
  for (int c = 0; c < 2; ++c) {
    planish_true_peak_process(&core->detectors[c], audio[c], peaks, frames);
    for (uint32_t i = 0; i < frames; ++i) {
      core->step.peak = planish_max(core->step.peak, peaks[i]);
      core->sample_peak = planish_max(core->sample_peak, fabs(audio[c][i]));
    }
  }
  core->true_peak = planish_max(core->true_peak, planish_max(core->step.peak, core->sample_peak));
  for (uint32_t i = 0; i < frames; ++i) {
    const double left = audio[0][i];
    const double right = audio[1][i];
    core->step.left += left * left;
    core->step.right += right * right;
    core->step.product += left * right;
    mono[i] = MONO_GAIN * (left + right);
  }
  planish_loudness_process(&core->loudness, audio, frames);
  planish_loudness_process(&core->mono, (const double *const[2]){mono, NULL}, frames);
  core->frame += frames;
}

void meter_core_process(MeterCore *core, const double *const audio[2], uint32_t frames)
{
  uint32_t done = 0;
  while (done < frames) {
    const uint64_t steps = core->loudness.steps;
    const uint64_t left = core->loudness.step_end - core->loudness.frame;
    const uint32_t part = left < frames - done ? (uint32_t)left : frames - done;
    measure(core, (const double *const[2]){audio[0] + done, audio[1] + done}, part);
    done += part;
    if (core->loudness.steps > steps) {
      end_step(core);
    }
  }
}
