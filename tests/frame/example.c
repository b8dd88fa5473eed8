/* The example stage: what a new stage starts from. Its template is example.ttl. */
#include "common/dsp/delay.h"
#include "common/dsp/maths.h"
#include "common/frame/stage.h"
#include "tests/frame/example_ports.h"

typedef struct {
  PlanishDelay delay[2];
  PlanishGlide gain; /* dB */
  uint32_t latency;
  double rate;
  double peak;
  bool fresh;
} Example;

static uint32_t latency(double rate, const float *values)
{
  const float longest = example_port_table[EXAMPLE_DELAY].maximum;
  return planish_frames_of((double)(values == NULL ? longest : values[EXAMPLE_DELAY]), rate);
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Example *example = state;
  example->rate = rate;
  for (int c = 0; c < 2; ++c) {
    planish_delay_setup(&example->delay[c], arena, latency(rate, NULL), PLANISH_GRID);
  }
  planish_glide_setup(&example->gain, arena, rate, PLANISH_GLIDE_MS);
  return PLANISH_OK;
}

static void reset(void *state)
{
  Example *example = state;
  planish_delay_reset(&example->delay[0]);
  planish_delay_reset(&example->delay[1]);
  example->peak = 0.0;
  example->fresh = true;
}

static void set(void *state, const float *values)
{
  Example *example = state;
  example->latency = latency(example->rate, values);
  if (example->fresh) {
    planish_glide_jump(&example->gain, (double)values[EXAMPLE_INPUT_GAIN]);
    example->fresh = false;
  }
  planish_glide_set(&example->gain, (double)values[EXAMPLE_INPUT_GAIN]);
}

static void process(void *state, const PlanishBlock *block)
{
  Example *example = state;
  double gains[PLANISH_GRID];
  for (uint32_t i = 0; i < block->frames; ++i) {
    gains[i] = planish_gain_of(planish_glide_next(&example->gain));
  }
  for (uint32_t c = 0; c < block->channels; ++c) {
    double *audio = block->audio[c];
    planish_delay_process(&example->delay[c], audio, audio, example->latency, block->frames);
    for (uint32_t i = 0; i < block->frames; ++i) {
      if (block->points != NULL) {
        block->points[0][c][i] = audio[i];
      }
      audio[i] *= gains[i];
      if (block->reference[c] != NULL) {
        block->reference[c][i] = audio[i];
      }
      example->peak = planish_max(example->peak, fabs(audio[i]));
    }
  }
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  Example *example = state;
  values[EXAMPLE_PEAK] = (float)example->peak;
  example->peak = 0.0;
}

const PlanishStage planish_stage = {
    .ports = &example_ports,
    .state_size = sizeof(Example),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
};
