/* Logarithms of a block of powers at once.
 *
 * Thread: any. Real-time safe. */
#ifndef PLANISH_DSP_LEVELS_H
#define PLANISH_DSP_LEVELS_H

#include <stdint.h>

/* A power and its level: held powers stand still most of the time, and need no logarithm then. */
typedef struct {
  double power;
  double level;
} PlanishKnownLevel;

/* planish_level_of_power() of `frames` values, in place, those under `floor` raised to it. There
 * must be room for PLANISH_LANES more, which is written to. `known`: a power and its level; gets
 * those of the last frame. */
void planish_levels_of_powers(PlanishKnownLevel *known, double floor, double *values,
                              uint32_t frames);

#endif
