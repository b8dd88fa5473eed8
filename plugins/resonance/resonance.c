/* Adaptive resonance control: one law a window, of which the chosen one runs. */
#include "common/dsp/maths.h"
#include "common/frame/stage.h"
#include "plugins/resonance/law.h"
#include "ttl/resonance_ports.h"

enum { WINDOWS = 3 };

/* Beyond this frames take megabytes and nothing is won. */
static const double HIGHEST_RATE = 800000.0;

typedef struct {
  ResonanceLaw laws[WINDOWS]; /* short, normal, long */
  ResonanceLaw *law;          /* the chosen one */
  bool fresh;
} Resonance;

/* 43, 85, 171 ms. Minimum phase needs a certain length: at rates under 12 kHz short is as long as
 * normal. */
static uint32_t length_of(double rate, uint32_t window)
{
  const uint32_t length = planish_spectral_frame_length(rate, 2048U << window);
  return length < PLANISH_MINIMUM_PHASE_SHORTEST ? PLANISH_MINIMUM_PHASE_SHORTEST : length;
}

static uint32_t latency(double rate, const float *values)
{
  const uint32_t window = values == NULL ? WINDOWS - 1 : (uint32_t)values[RESONANCE_WINDOW];
  return rate > HIGHEST_RATE ? 0 : planish_spectral_engine_latency(length_of(rate, window));
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Resonance *const resonance = state;
  if (!(rate > 0.0) || rate > HIGHEST_RATE) {
    return PLANISH_BAD_RATE;
  }
  PlanishStatus status = PLANISH_OK;
  for (uint32_t w = 0; w < WINDOWS && status == PLANISH_OK; ++w) {
    status = resonance_law_setup(&resonance->laws[w], arena, rate, length_of(rate, w));
  }
  return status;
}

static void reset(void *state)
{
  Resonance *const resonance = state;
  resonance->fresh = true;
}

static void set(void *state, const float *values)
{
  Resonance *const resonance = state;
  const ResonanceSettings settings = {
      .cut =
          {
              .threshold = (double)values[RESONANCE_THRESHOLD],
              .per_db = (double)values[RESONANCE_CUT_PER_DB],
              .most = (double)values[RESONANCE_MAX_CUT],
              .attack = (double)values[RESONANCE_ATTACK],
              .release = (double)values[RESONANCE_RELEASE],
              .range_low = (double)values[RESONANCE_RANGE_LOW],
              .range_high = (double)values[RESONANCE_RANGE_HIGH],
          },
      .bandwidth = (double)values[RESONANCE_BANDWIDTH],
      .note_protection = (double)values[RESONANCE_NOTE_PROTECTION] / 100.0,
      .observation_time = (double)values[RESONANCE_OBSERVATION_TIME],
  };
  if (resonance->fresh) {
    resonance->law = &resonance->laws[(uint32_t)values[RESONANCE_WINDOW]];
    resonance_law_reset(resonance->law, values[RESONANCE_PHASE] > 0.5F);
    resonance->fresh = false;
  }
  resonance_law_set(resonance->law, &settings);
}

static void process(void *state, const PlanishBlock *block)
{
  Resonance *const resonance = state;
  resonance_law_process(resonance->law, block->audio, block->channels, block->frames);
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  const Resonance *const resonance = state;
  values[RESONANCE_LARGEST_CUT] = (float)resonance->law->largest_cut;
  values[RESONANCE_LARGEST_CUT_FREQ] = (float)resonance->law->largest_cut_freq;
}

static void release(void *state)
{
  Resonance *const resonance = state;
  for (uint32_t w = 0; w < WINDOWS; ++w) {
    resonance_law_release(&resonance->laws[w]);
  }
}

const PlanishStage planish_stage = {
    .ports = &resonance_ports,
    .state_size = sizeof(Resonance),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
    .release = release,
};
