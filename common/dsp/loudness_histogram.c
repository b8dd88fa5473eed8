#include "common/dsp/loudness_histogram.h"

#include "common/dsp/maths.h"

#define COARSE_BINS  ((size_t)(PLANISH_LOUDNESS_TOP - PLANISH_LOUDNESS_FLOOR))
#define FINE_IN_EACH ((size_t)100)
#define FINE_BINS    (COARSE_BINS * FINE_IN_EACH)

/* Brings a 997 Hz sine of 0 dBFS in one channel to -3.01 (ITU-R BS.1770-4 Annex 1, eq. 2). */
#define OFFSET_DB (-0.691)

double planish_loudness_of(double power)
{
  return power >= 1e-100 ? OFFSET_DB + planish_level_of_power(power) : -HUGE_VAL;
}

void planish_loudness_histogram_setup(PlanishLoudnessHistogram *histogram, PlanishArena *arena)
{
  histogram->fine = planish_arena_take(arena, FINE_BINS, sizeof *histogram->fine);
  histogram->coarse = planish_arena_take(arena, COARSE_BINS, sizeof *histogram->coarse);
}

void planish_loudness_histogram_reset(PlanishLoudnessHistogram *histogram)
{
  memset(histogram->coarse, 0, COARSE_BINS * sizeof *histogram->coarse);
  histogram->all = (PlanishLoudnessBin){0};
}

/* Fine bins under a coarse one that is empty hold what was there before the last reset. */
static PlanishLoudnessBin *fine_of(const PlanishLoudnessHistogram *histogram, size_t coarse)
{
  return histogram->fine + coarse * FINE_IN_EACH;
}

static void add_to(PlanishLoudnessBin *bin, PlanishLoudnessBin what)
{
  bin->count += what.count;
  bin->power += what.power;
  bin->mono += what.mono;
}

void planish_loudness_histogram_add(PlanishLoudnessHistogram *histogram, double power, double mono)
{
  const double place = (planish_loudness_of(power) - PLANISH_LOUDNESS_FLOOR) * (double)FINE_IN_EACH;
  if (!(place > 0.0)) {
    return;
  }
  const size_t bin = (size_t)planish_min(place, (double)(FINE_BINS - 1));
  const size_t coarse = bin / FINE_IN_EACH;
  const PlanishLoudnessBin one = {1, power, mono};
  if (histogram->coarse[coarse].count == 0) {
    memset(fine_of(histogram, coarse), 0, FINE_IN_EACH * sizeof *histogram->fine);
  }
  add_to(&histogram->fine[bin], one);
  add_to(&histogram->coarse[coarse], one);
  add_to(&histogram->all, one);
}

PlanishLoudnessBin planish_loudness_histogram_over(const PlanishLoudnessHistogram *histogram,
                                                   double gate)
{
  PlanishLoudnessBin over = {0};
  const double above_floor =
      planish_clamp(gate - PLANISH_LOUDNESS_FLOOR, 0.0, (double)(COARSE_BINS - 1));
  const size_t border = (size_t)above_floor;
  for (size_t i = border + 1; i < COARSE_BINS; ++i) {
    add_to(&over, histogram->coarse[i]);
  }
  if (histogram->coarse[border].count == 0) {
    return over;
  }
  const double root = planish_gain_of(gate - OFFSET_DB);
  for (size_t i = 0; i < FINE_IN_EACH; ++i) {
    const PlanishLoudnessBin bin = fine_of(histogram, border)[i];
    if (bin.power > root * root * (double)bin.count) {
      add_to(&over, bin);
    }
  }
  return over;
}

PlanishLoudnessBin planish_loudness_histogram_gated(const PlanishLoudnessHistogram *histogram,
                                                    double relative)
{
  const PlanishLoudnessBin *all = &histogram->all;
  if (all->count == 0) {
    return *all;
  }
  const double mean = planish_loudness_of(all->power / (double)all->count);
  return planish_loudness_histogram_over(histogram, mean + relative);
}

/* The highest of `bins` bins that holds `rank`, which is then counted within it. `bins` is none. */
static size_t find(const PlanishLoudnessBin *of, size_t bins, uint64_t *rank)
{
  for (size_t i = bins; i-- > 0;) {
    if (*rank < of[i].count) {
      return i;
    }
    *rank -= of[i].count;
  }
  return bins;
}

double planish_loudness_histogram_ranked(const PlanishLoudnessHistogram *histogram, uint64_t rank)
{
  const size_t coarse = find(histogram->coarse, COARSE_BINS, &rank);
  if (coarse == COARSE_BINS) {
    return -HUGE_VAL;
  }
  const PlanishLoudnessBin *within = fine_of(histogram, coarse);
  const PlanishLoudnessBin bin = within[find(within, FINE_IN_EACH, &rank)];
  return planish_loudness_of(bin.power / (double)bin.count);
}
