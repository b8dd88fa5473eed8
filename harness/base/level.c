#include "harness/base/level.h"

#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"

#include <stdlib.h>
#include <string.h>

struct PlanishLevel {
  PlanishLoudness loudness;
  void *block;
  float peak;
  double audio[2][PLANISH_LEVEL_BLOCK];
};

PlanishLevel *planish_level_new(double rate)
{
  PlanishLevel *level = calloc(1, sizeof *level);
  PlanishArena arena = planish_arena_counting();
  if (level == NULL || planish_loudness_setup(&level->loudness, &arena, rate, 2) != PLANISH_OK) {
    free(level);
    return NULL;
  }
  const size_t size = (arena.used / PLANISH_ALIGNMENT + 1) * PLANISH_ALIGNMENT;
  level->block = aligned_alloc(PLANISH_ALIGNMENT, size);
  if (level->block == NULL) {
    free(level);
    return NULL;
  }
  memset(level->block, 0, size);
  arena = planish_arena_filling(level->block, size);
  planish_loudness_setup(&level->loudness, &arena, rate, 2);
  planish_loudness_reset(&level->loudness);
  return level;
}

void planish_level_free(PlanishLevel *level)
{
  if (level != NULL) {
    free(level->block);
    free(level);
  }
}

void planish_level_process(PlanishLevel *level, const float *left, const float *right,
                           uint32_t frames)
{
  /* Each channel by itself: neither waits for the other. Finite, so a comparison is enough. */
  float peaks[2] = {level->peak, level->peak};
  for (uint32_t n = 0; n < frames; ++n) {
    peaks[0] = fabsf(left[n]) > peaks[0] ? fabsf(left[n]) : peaks[0];
    peaks[1] = fabsf(right[n]) > peaks[1] ? fabsf(right[n]) : peaks[1];
    level->audio[0][n] = (double)left[n];
    level->audio[1][n] = (double)right[n];
  }
  level->peak = peaks[0] > peaks[1] ? peaks[0] : peaks[1];
  const double *const audio[2] = {level->audio[0], level->audio[1]};
  planish_loudness_process(&level->loudness, audio, frames);
}

double planish_level_loudness(const PlanishLevel *level)
{
  return planish_loudness_integrated(&level->loudness);
}

double planish_level_sample_peak(const PlanishLevel *level)
{
  return planish_level_of((double)level->peak);
}
