/* Attack and sustained tone apart, each with a level and an equaliser of its own. */
#include "common/dsp/maths.h"
#include "common/frame/stage.h"
#include "plugins/attack-sustain-eq/law.h"
#include "ttl/attack_sustain_eq_ports.h"

/* Beyond this frames take megabytes and nothing is won. */
static const double HIGHEST_RATE = 800000.0;
/* What the choices of look-ahead mean. */
static const double AHEAD_MS[] = {0.0, 50.0, 100.0};
/* The steepest shelf that does not overshoot. */
static const double SHELF_Q = 0.70710678118654752440;

typedef struct {
  AttackLaw law;
  double rate;
  bool fresh;
} Stage;

static uint32_t hops_ahead(double rate, const float *values)
{
  const uint32_t choice = values == NULL ? 2 : (uint32_t)values[ATTACK_SUSTAIN_EQ_LOOKAHEAD];
  return attack_law_hops(rate, AHEAD_MS[choice < 2 ? choice : 2]);
}

static uint32_t latency(double rate, const float *values)
{
  if (rate > HIGHEST_RATE) {
    return 0;
  }
  const uint32_t length = attack_law_length(rate);
  return planish_spectral_engine_latency(length) +
         hops_ahead(rate, values) * (length / PLANISH_SPECTRAL_OVERLAP);
}

static PlanishStatus setup(void *state, double rate, PlanishArena *arena)
{
  Stage *const stage = state;
  if (!(rate > 0.0) || rate > HIGHEST_RATE) {
    return PLANISH_BAD_RATE;
  }
  stage->rate = rate;
  return attack_law_setup(
      &stage->law, arena, rate,
      (double)attack_sustain_eq_port_table[ATTACK_SUSTAIN_EQ_MEDIAN_TIME].maximum);
}

static void reset(void *state)
{
  Stage *const stage = state;
  stage->fresh = true;
}

/* A part's ports from its gain on, in the template's order. */
static ToneSettings tone_of(const float *values)
{
  return (ToneSettings){
      .gain = (double)values[0],
      .bands =
          {
              {PLANISH_EQ_LOW_SHELF, 1, (double)values[1], (double)values[2], SHELF_Q},
              {PLANISH_EQ_PEAKING, 1, (double)values[3], (double)values[4], (double)values[5]},
              {PLANISH_EQ_PEAKING, 1, (double)values[6], (double)values[7], (double)values[8]},
              {PLANISH_EQ_HIGH_SHELF, 1, (double)values[9], (double)values[10], SHELF_Q},
          },
  };
}

_Static_assert(ATTACK_SUSTAIN_EQ_ATTACK_LOW_FREQ == ATTACK_SUSTAIN_EQ_ATTACK_GAIN + 1 &&
                   ATTACK_SUSTAIN_EQ_ATTACK_BELL1_FREQ == ATTACK_SUSTAIN_EQ_ATTACK_GAIN + 3 &&
                   ATTACK_SUSTAIN_EQ_ATTACK_BELL2_Q == ATTACK_SUSTAIN_EQ_ATTACK_GAIN + 8 &&
                   ATTACK_SUSTAIN_EQ_ATTACK_HIGH_GAIN == ATTACK_SUSTAIN_EQ_ATTACK_GAIN + 10,
               "ports of the attack in order");
_Static_assert(ATTACK_SUSTAIN_EQ_SUSTAIN_LOW_FREQ == ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN + 1 &&
                   ATTACK_SUSTAIN_EQ_SUSTAIN_BELL1_FREQ == ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN + 3 &&
                   ATTACK_SUSTAIN_EQ_SUSTAIN_BELL2_Q == ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN + 8 &&
                   ATTACK_SUSTAIN_EQ_SUSTAIN_HIGH_GAIN == ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN + 10,
               "ports of the sustained tone in order");

static void set(void *state, const float *values)
{
  Stage *const stage = state;
  const AttackSettings settings = {
      .shares =
          {
              .crossover = (double)values[ATTACK_SUSTAIN_EQ_CROSSOVER_FREQ],
              .median_time = (double)values[ATTACK_SUSTAIN_EQ_MEDIAN_TIME],
              .power = (double)values[ATTACK_SUSTAIN_EQ_MASK_POWER],
          },
      .attack = tone_of(values + ATTACK_SUSTAIN_EQ_ATTACK_GAIN),
      .sustain = tone_of(values + ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN),
  };
  if (stage->fresh) {
    attack_law_reset(&stage->law, hops_ahead(stage->rate, values));
    stage->fresh = false;
  }
  attack_law_set(&stage->law, &settings);
}

static void process(void *state, const PlanishBlock *block)
{
  Stage *const stage = state;
  attack_law_process(&stage->law, block->audio, block->points, block->channels, block->frames);
}

static void report(void *state, float *values, uint32_t frames)
{
  (void)frames;
  const Stage *const stage = state;
  values[ATTACK_SUSTAIN_EQ_ATTACK_SHARE] = (float)(100.0 * attack_law_share(&stage->law));
  values[ATTACK_SUSTAIN_EQ_GAIN_CHANGE] = (float)attack_law_change(&stage->law);
  values[ATTACK_SUSTAIN_EQ_LARGEST_CHANGE] =
      (float)planish_clamp(attack_law_largest(&stage->law), -60.0, 60.0);
  values[ATTACK_SUSTAIN_EQ_LARGEST_CHANGE_FREQ] = (float)attack_law_largest_freq(&stage->law);
}

static void release(void *state)
{
  Stage *const stage = state;
  attack_law_release(&stage->law);
}

const PlanishStage planish_stage = {
    .ports = &attack_sustain_eq_ports,
    .state_size = sizeof(Stage),
    .setup = setup,
    .reset = reset,
    .set = set,
    .latency = latency,
    .process = process,
    .report = report,
    .release = release,
};
