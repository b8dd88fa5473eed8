#include "plugins/ms-eq/mono_below.h"

#include "common/dsp/trig.h"

#include <string.h>

/* Both filters are Butterworth sections of second order. */
#define DAMPING 1.41421356237309504880

#define MEAN_SECONDS 0.3
#define LARGEST_LOSS 60.0
#define SILENT_POWER 1e-20

void planish_mono_below_setup(PlanishMonoBelow *mono, PlanishArena *arena, double rate)
{
  mono->rate = rate;
  planish_glide_setup(&mono->frequency, arena, rate, PLANISH_GLIDE_MS);
  planish_glide_setup(&mono->amount, arena, rate, PLANISH_GLIDE_MS);
  planish_crossfade_setup(&mono->fade, rate, PLANISH_GLIDE_MS);
  planish_crossfade_setup(&mono->entry, rate, PLANISH_GLIDE_MS);
  mono->forgetting = 1.0 - planish_exp(-1.0 / (MEAN_SECONDS * rate));
}

static PlanishSvfSteps steps_for(double frequency, double rate)
{
  const PlanishSineCosine half = planish_sine_cosine(PLANISH_PI * frequency / rate);
  return planish_svf_steps(half.sine / half.cosine, DAMPING);
}

/* From silence, where the glides stand. */
static void start(PlanishMonoBelow *mono)
{
  memset(&mono->first, 0, sizeof mono->first);
  memset(&mono->second, 0, sizeof mono->second);
  mono->power = planish_both(0.0);
  mono->steps = steps_for(planish_exp2(mono->frequency.value), mono->rate);
}

void planish_mono_below_jump(PlanishMonoBelow *mono, bool on, double frequency, double amount)
{
  planish_glide_jump(&mono->frequency, planish_log2(frequency));
  planish_glide_jump(&mono->amount, amount);
  mono->wanted = on && amount > 0.0;
  planish_crossfade_jump(&mono->fade, mono->wanted);
  planish_crossfade_jump(&mono->entry, true);
  start(mono);
}

void planish_mono_below_set(PlanishMonoBelow *mono, bool on, double frequency, double amount)
{
  mono->wanted = on && amount > 0.0;
  if (!planish_mono_below_is_sounding(mono)) {
    planish_glide_jump(&mono->frequency, planish_log2(frequency));
    planish_glide_jump(&mono->amount, amount);
  } else if (mono->wanted) {
    /* On the way out they stay where they are. */
    planish_glide_set(&mono->frequency, planish_log2(frequency));
    planish_glide_set(&mono->amount, amount);
  }
}

void planish_mono_below_grid(PlanishMonoBelow *mono)
{
  if (mono->wanted && !planish_mono_below_is_sounding(mono)) {
    start(mono);
    planish_crossfade_jump(&mono->fade, true);
    planish_crossfade_jump(&mono->entry, false);
  }
  planish_crossfade_turn(&mono->fade, mono->wanted);
  planish_crossfade_turn(&mono->entry, true);
}

void planish_mono_below_process(PlanishMonoBelow *mono, PlanishTwo *audio, uint32_t frames)
{
  const PlanishTwo damping = planish_both(DAMPING);
  const bool moves = planish_glide_is_moving(&mono->frequency);
  for (uint32_t n = 0; n < frames; ++n) {
    if (moves) {
      const double frequency = planish_exp2(planish_glide_next(&mono->frequency));
      mono->steps = steps_for(frequency, mono->rate);
    }
    const double amount = planish_glide_next(&mono->amount);
    const PlanishTwo in = audio[n] * planish_both(planish_crossfade_next(&mono->entry));
    const PlanishTwo x = {0.5 * (in[0] + in[1]), 0.5 * (in[0] - in[1])};
    const PlanishSvfOutputs first = planish_svf_next(&mono->first, mono->steps, x);
    const PlanishTwo high = x - damping * first.band - first.low;
    const PlanishTwo allpass = x - planish_both(2.0) * damping * first.band;
    const PlanishTwo inner = {first.low[0], high[1]};
    const PlanishSvfOutputs second = planish_svf_next(&mono->second, mono->steps, inner);
    const double side_high = inner[1] - DAMPING * second.band[1] - second.low[1];
    /* High-pass and low-pass of fourth order add up to the allpass. */
    const PlanishTwo low = {second.low[0], allpass[1] - side_high};
    mono->power += planish_both(mono->forgetting) * (low * low - mono->power);

    const double mid = allpass[0];
    const double side = allpass[1] - amount * low[1];
    const PlanishTwo wet = {mid + side, mid - side};
    audio[n] += planish_both(planish_crossfade_next(&mono->fade)) * (wet - in);
  }
  /* A glide that ends with the block has not given its target yet. */
  if (moves) {
    mono->steps = steps_for(planish_exp2(mono->frequency.value), mono->rate);
  }
}

double planish_mono_below_loss(const PlanishMonoBelow *mono)
{
  const double before = mono->power[0] + mono->power[1];
  if (!mono->wanted || before < SILENT_POWER) {
    return 0.0;
  }
  const double rest = 1.0 - mono->amount.value;
  const double after = mono->power[0] + rest * rest * mono->power[1];
  const double loss = planish_level_of_power(before) - planish_level_of_power(after);
  return planish_clamp(loss, 0.0, LARGEST_LOSS);
}
