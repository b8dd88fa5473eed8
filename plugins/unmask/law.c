#include "plugins/unmask/law.h"

#include "common/dsp/maths.h"
#include "common/dsp/spectral_bins.h"
#include "common/dsp/spectral_maths.h"
#include "common/dsp/wide.h"

#include <stdbool.h>
#include <string.h>

/* The bins of a hop are worked on in so many steps, the shortest frame has a bin for each; and so
 * many bands in a step. */
enum { PARTS = 32, BANDS_AT_ONCE = 4, LENGTH_AT_48K = 4096, SHORTEST = 512 };

/* Costs beside those of the engine's transform, measured alike. */
enum {
  TAKE_COST = 4,
  LISTEN_COST = 5,
  LOOK_COST = 8,
  LIFT_COST = 5,
  HOLD_BACK_COST = 8,
  SETTLE_COST = 7,
  LAY_COST = 2
};

/* Mean square of both channels together under which nothing is heard: -80 dB. */
static const double SILENCE = 1e-8;

typedef struct {
  uint32_t from;
  uint32_t to;
} Range;

static Range range_of(const UnmaskLaw *law, uint32_t part)
{
  const uint32_t bins = law->engine.length / 2 / PARTS;
  return (Range){part * bins, (part + 1) * bins};
}

static void begin(void *context)
{
  UnmaskLaw *const law = context;
  unmask_moves_begin(&law->moves, &law->wanted);
  memset(law->power, 0, sizeof law->power);
}

/* What of the bins of a part lies between bands i and i + 1. */
static Range between(const UnmaskLaw *law, Range range, uint32_t i)
{
  const uint32_t *const first = law->bands.first;
  return (Range){first[i] > range.from ? first[i] : range.from,
                 first[i + 1] < range.to ? first[i + 1] : range.to};
}

/* Goes to the first band whose way to the next reaches into a part; parts come in order. */
static uint32_t first_gap(UnmaskLaw *law, Range range)
{
  law->gap = range.from == 0 ? 0 : law->gap;
  while (law->gap + 1 < law->bands.count && law->bands.first[law->gap + 1] <= range.from) {
    ++law->gap;
  }
  return law->gap;
}

/* Whether band i has one behind it, and begins within a part. */
static bool reaches(const UnmaskLaw *law, Range range, uint32_t i)
{
  return i + 1 < law->bands.count && law->bands.first[i] < range.to;
}

/* Sums in lanes, in an order that no vector changes. */
PLANISH_WIDE static void sum_up(const float *restrict power, const float *restrict share,
                                uint32_t count, double sums[2])
{
  enum { LANES = 8 };
  float all[LANES] = {0.0F};
  float shared[LANES] = {0.0F};
  uint32_t i = 0;
  for (; i + LANES <= count; i += LANES) {
    for (uint32_t j = 0; j < LANES; ++j) {
      all[j] += power[i + j];
      shared[j] += power[i + j] * share[i + j];
    }
  }
  for (; i < count; ++i) {
    all[i % LANES] += power[i];
    shared[i % LANES] += power[i] * share[i];
  }
  for (uint32_t j = 0; j < LANES; ++j) {
    sums[0] += (double)all[j];
    sums[1] += (double)shared[j];
  }
}

/* Each bin's power goes to the two bands that it lies between. */
static void take(void *context, uint32_t part)
{
  UnmaskLaw *const law = context;
  const Range range = range_of(law, part);
  planish_spectral_engine_powers(&law->engine, law->bin, range.from, range.to);
  for (uint32_t i = first_gap(law, range); reaches(law, range, i); ++i) {
    const Range bins = between(law, range, i);
    if (bins.from < bins.to) {
      double sums[2] = {0.0, 0.0};
      sum_up(law->bin + (bins.from - range.from), law->bands.share + bins.from, bins.to - bins.from,
             sums);
      law->power[i] += sums[0] - sums[1];
      law->power[i + 1] += sums[1];
    }
  }
}

static void listen(void *context, uint32_t part)
{
  (void)part;
  UnmaskLaw *const law = context;
  unmask_moves_take(&law->moves, law->power, law->silence);
}

/* The bands of a step. */
static Range bands_of(const UnmaskLaw *law, uint32_t step)
{
  const uint32_t from = step * BANDS_AT_ONCE;
  const uint32_t to = from + BANDS_AT_ONCE;
  return (Range){from, to < law->bands.count ? to : law->bands.count};
}

static void look(void *context, uint32_t step)
{
  UnmaskLaw *const law = context;
  const Range bands = bands_of(law, step);
  for (uint32_t band = bands.from; band < bands.to; ++band) {
    unmask_moves_look(&law->moves, band);
  }
}

static void lift(void *context, uint32_t step)
{
  UnmaskLaw *const law = context;
  const Range bands = bands_of(law, step);
  for (uint32_t band = bands.from; band < bands.to; ++band) {
    unmask_moves_lift(&law->moves, band);
  }
}

static void hold_back(void *context, uint32_t step)
{
  UnmaskLaw *const law = context;
  const Range bands = bands_of(law, step);
  for (uint32_t band = bands.from; band < bands.to; ++band) {
    unmask_moves_hold_back(&law->moves, band);
  }
}

static void find_largest(UnmaskLaw *law)
{
  law->largest_lift = (UnmaskReading){0.0, 0.0};
  law->largest_cut = (UnmaskReading){0.0, 0.0};
  for (uint32_t i = 0; i < law->bands.count; ++i) {
    const double move = law->moves.move[i];
    if (move > law->largest_lift.db) {
      law->largest_lift = (UnmaskReading){move, law->bands.frequency[i]};
    }
    if (-move > law->largest_cut.db) {
      law->largest_cut = (UnmaskReading){-move, law->bands.frequency[i]};
    }
  }
}

static void settle(void *context, uint32_t step)
{
  UnmaskLaw *const law = context;
  unmask_moves_settle(&law->moves, step);
  if (step == UNMASK_SETTLE_STEPS - 1) {
    find_largest(law);
  }
}

/* G - 1 of bins between two bands, whose gains are in log2. */
PLANISH_WIDE static void take_gains(float *restrict added, const float *restrict share,
                                    uint32_t count, float from, float to)
{
  for (uint32_t i = 0; i < count; ++i) {
    added[i] = planish_exp2f(from + share[i] * (to - from)) - 1.0F;
  }
}

static void lay(void *context, uint32_t part)
{
  UnmaskLaw *const law = context;
  const Range range = range_of(law, part);
  const double *const move = law->moves.move;
  for (uint32_t i = first_gap(law, range); reaches(law, range, i); ++i) {
    const Range bins = between(law, range, i);
    if (bins.from < bins.to) {
      take_gains(law->bin + (bins.from - range.from), law->bands.share + bins.from,
                 bins.to - bins.from, (float)(move[i] * PLANISH_DB_TO_LOG2),
                 (float)(move[i + 1] * PLANISH_DB_TO_LOG2));
    }
  }
  planish_spectral_path_lay_real(&law->engine.path, law->engine.length, law->bin, range.from,
                                 range.to);
}

uint32_t unmask_law_length(double rate)
{
  const uint32_t length = planish_spectral_frame_length(rate, LENGTH_AT_48K);
  return length < SHORTEST ? SHORTEST : length;
}

PlanishStatus unmask_law_setup(UnmaskLaw *law, PlanishArena *arena, double rate)
{
  const uint32_t length = unmask_law_length(rate);
  /* Sum of |X|^2 over the bins 0..length/2 of a signal of mean square 1 under a Hann window. */
  law->silence = SILENCE * 0.375 * (double)length * (double)length / 2.0;
  unmask_bands_setup(&law->bands, arena, rate, length);
  unmask_moves_setup(&law->moves, &law->bands, (double)length / PLANISH_SPECTRAL_OVERLAP / rate);
  law->bin = planish_arena_take(arena, length / 2 / PARTS, sizeof(float));
  return planish_spectral_engine_setup(&law->engine, arena, length);
}

void unmask_law_reset(UnmaskLaw *law)
{
  const uint32_t band_steps = (law->bands.count + BANDS_AT_ONCE - 1) / BANDS_AT_ONCE;
  const PlanishTask tasks[] = {
      {take, law, PARTS, TAKE_COST},
      {listen, law, 1, LISTEN_COST},
      {look, law, band_steps, LOOK_COST},
      {lift, law, band_steps, LIFT_COST},
      {hold_back, law, band_steps, HOLD_BACK_COST},
      {settle, law, UNMASK_SETTLE_STEPS, SETTLE_COST},
      {lay, law, PARTS, LAY_COST},
  };
  planish_spectral_engine_reset(
      &law->engine, &(PlanishSpectralLaw){begin, law, tasks, sizeof tasks / sizeof *tasks, true});
  unmask_moves_reset(&law->moves);
  law->largest_lift = (UnmaskReading){0.0, 0.0};
  law->largest_cut = (UnmaskReading){0.0, 0.0};
}

void unmask_law_set(UnmaskLaw *law, const UnmaskSettings *settings)
{
  law->wanted = *settings;
}

void unmask_law_release(UnmaskLaw *law)
{
  planish_spectral_engine_release(&law->engine);
}
