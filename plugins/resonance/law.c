#include "plugins/resonance/law.h"

#include "common/dsp/eight_floats.h"
#include "common/dsp/maths.h"
#include "common/dsp/spectral_bins.h"
#include "common/dsp/spectral_maths.h"
#include "common/dsp/wide.h"

/* The bins of a hop are worked on in so many steps. */
enum { PARTS = 32, MOST_TASKS = PLANISH_MINIMUM_PHASE_TASKS + 5 };

/* Costs beside those of the engine's transform, measured alike. */
enum {
  POWER_COST = 3,
  LEVEL_COST = 7,
  GAIN_COST = 10,
  DEEPEN_COST = 3,
  LAY_COST = 2,
  ZERO_PHASE_COST = 2
};

/* Of the cepstrum: keeps what sounds ahead of a click under -100 dB. */
static const double REACH = 0.4;
/* Under a thousandth of a dB nothing is cut. */
static const float NOTHING = (float)(-0.001 * PLANISH_DB_TO_LOG2);

typedef struct {
  uint32_t from;
  uint32_t to;
} Range;

/* The last part has one bin more. */
static Range range_of(const ResonanceLaw *law, uint32_t part)
{
  const uint32_t bins = law->engine.length / 2 / PARTS;
  return (Range){part * bins, (part + 1) * bins + (part == PARTS - 1 ? 1 : 0)};
}

static void begin(void *context)
{
  ResonanceLaw *const law = context;
  law->settings = law->wanted;
  resonance_excess_set(&law->excess, law->settings.bandwidth);
  resonance_cut_set(&law->cut, &law->settings.cut);
  law->deepest = NOTHING;
  law->deepest_bin = 0;
  law->deepest_to = 0;
}

static void take_power(void *context, uint32_t part)
{
  ResonanceLaw *const law = context;
  const Range range = range_of(law, part);
  resonance_excess_take_power(&law->excess, &law->engine, range.from, range.to);
}

static void take_level(void *context, uint32_t part)
{
  ResonanceLaw *const law = context;
  const Range range = range_of(law, part);
  if (part == 0) {
    resonance_standing_begin(&law->standing, law->settings.observation_time,
                             resonance_excess_is_silent(&law->excess));
  }
  resonance_excess_take_level(&law->excess, range.from, range.to);
}

static void take_gain(void *context, uint32_t part)
{
  ResonanceLaw *const law = context;
  const Range range = range_of(law, part);
  /* The gains' own place serves for what they are made from. */
  float *const excess = law->phase.log_gain + range.from;
  resonance_excess_get(&law->excess, excess, range.from, range.to);
  resonance_standing_learn(&law->standing, excess, range.from, range.to);
  resonance_standing_protect(&law->standing, law->settings.note_protection, excess, law->reach,
                             range.from, range.to);
  resonance_cut_process(&law->cut, law->reach, excess, range.from, range.to);
}

static void deepen(void *context, uint32_t part)
{
  ResonanceLaw *const law = context;
  const Range range = range_of(law, part);
  resonance_cut_deepen(&law->cut, law->phase.log_gain, range.from, range.to);
}

/* The least of some values under 0; or 0. */
PLANISH_WIDE static float least_of(const float *values, uint32_t count)
{
  PlanishEight most = planish_eight_all(0.0F);
  uint32_t k = 0;
  for (; k + PLANISH_EIGHT <= count; k += PLANISH_EIGHT) {
    most = planish_eight_max(most, -planish_eight_load(values + k));
  }
  float least = -planish_eight_largest(most);
  for (; k < count; ++k) {
    least = values[k] < least ? values[k] : least;
  }
  return least;
}

/* Where the deepest cut is, and over how many bins in a row. */
static void find_deepest(ResonanceLaw *law, uint32_t part)
{
  const Range range = range_of(law, part);
  const float *const log_gain = law->phase.log_gain;
  const float least = least_of(log_gain + range.from, range.to - range.from);
  if (least < law->deepest) {
    uint32_t k = range.from;
    while (log_gain[k] != least) {
      ++k;
    }
    law->deepest = least;
    law->deepest_bin = k;
    law->deepest_to = k;
  }
  while (law->deepest_bin > 0 && law->deepest_to + 1 >= range.from &&
         law->deepest_to + 1 < range.to && log_gain[law->deepest_to + 1] == law->deepest) {
    ++law->deepest_to;
  }
  if (part == PARTS - 1) {
    law->largest_cut = law->deepest_bin == 0 ? 0.0 : (double)-law->deepest * PLANISH_LOG2_TO_DB;
    law->largest_cut_freq =
        0.5 * (law->deepest_bin + law->deepest_to) * law->rate / (double)law->engine.length;
  }
}

PLANISH_WIDE static void take_zero_phase(float *restrict added, const float *restrict log_gain,
                                         uint32_t count)
{
  for (uint32_t i = 0; i < count; ++i) {
    added[i] = planish_exp2f(log_gain[i]) - 1.0F;
  }
}

static void lay_zero_phase(void *context, uint32_t part)
{
  ResonanceLaw *const law = context;
  const Range range = range_of(law, part);
  /* The reach is not asked for any more. */
  take_zero_phase(law->reach, law->phase.log_gain + range.from, range.to - range.from);
  planish_spectral_path_lay_real(&law->engine.path, law->engine.length, law->reach, range.from,
                                 range.to);
  find_deepest(law, part);
}

static void lay(void *context, uint32_t part)
{
  ResonanceLaw *const law = context;
  const Range range = range_of(law, part);
  planish_spectral_path_lay_all(&law->engine.path, law->engine.length,
                                law->phase.added + range.from, range.from, range.to);
  find_deepest(law, part);
}

PlanishStatus resonance_law_setup(ResonanceLaw *law, PlanishArena *arena, double rate,
                                  uint32_t length)
{
  const double hop = (double)length / PLANISH_SPECTRAL_OVERLAP;
  law->rate = rate;
  resonance_excess_setup(&law->excess, arena, rate, length);
  resonance_standing_setup(&law->standing, arena, length / 2 + 1, hop / rate);
  resonance_cut_setup(&law->cut, arena, rate, length);
  law->reach = planish_arena_take(arena, length / 2 / PARTS + 1, sizeof(float));
  const PlanishStatus status = planish_minimum_phase_setup(&law->phase, arena, length, REACH);
  const PlanishStatus other = planish_spectral_engine_setup(&law->engine, arena, length);
  return status != PLANISH_OK ? status : other;
}

void resonance_law_reset(ResonanceLaw *law, bool linear_phase)
{
  PlanishTask tasks[MOST_TASKS];
  uint32_t count = 0;
  tasks[count++] = (PlanishTask){take_power, law, PARTS, POWER_COST};
  tasks[count++] = (PlanishTask){take_level, law, PARTS, LEVEL_COST};
  tasks[count++] = (PlanishTask){take_gain, law, PARTS, GAIN_COST};
  if (linear_phase) {
    tasks[count++] = (PlanishTask){lay_zero_phase, law, PARTS, ZERO_PHASE_COST};
  } else {
    tasks[count++] = (PlanishTask){deepen, law, PARTS, DEEPEN_COST};
    count += planish_minimum_phase_tasks(&law->phase, tasks + count);
    tasks[count++] = (PlanishTask){lay, law, PARTS, LAY_COST};
  }
  planish_spectral_engine_reset(&law->engine,
                                &(PlanishSpectralLaw){begin, law, tasks, count, linear_phase});
  resonance_excess_reset(&law->excess);
  resonance_standing_reset(&law->standing);
  resonance_cut_reset(&law->cut);
  law->largest_cut = 0.0;
  law->largest_cut_freq = 0.0;
}

void resonance_law_set(ResonanceLaw *law, const ResonanceSettings *settings)
{
  law->wanted = *settings;
}

void resonance_law_release(ResonanceLaw *law)
{
  planish_minimum_phase_release(&law->phase);
  planish_spectral_engine_release(&law->engine);
}
