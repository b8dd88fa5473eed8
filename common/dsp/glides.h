/* Several controls that glide together: a stage's values as one struct of doubles, each with a
 * glide of its own (glide.h).
 *
 *   union { Values now; double value[COUNT]; }; PlanishGlide glide[COUNT]; bool moving;
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_GLIDES_H
#define PLANISH_GLIDES_H

#include "common/dsp/glide.h"

#include <stdbool.h>

/* `count` glides of PLANISH_GLIDE_MS. */
static inline void planish_glides_setup(PlanishGlide *glides, int count, PlanishArena *arena,
                                        double rate)
{
  for (int i = 0; i < count; ++i) {
    planish_glide_setup(&glides[i], arena, rate, PLANISH_GLIDE_MS);
  }
}

/* Heads for `targets`, or stands on them at once. At grid frames; the values move from then on. */
static inline void planish_glides_set(PlanishGlide *glides, int count, const double *targets,
                                      bool at_once)
{
  for (int i = 0; i < count; ++i) {
    if (at_once) {
      planish_glide_jump(&glides[i], targets[i]);
    } else {
      planish_glide_set(&glides[i], targets[i]);
    }
  }
}

/* The values of the next frame; whether any is still on its way. */
static inline bool planish_glides_next(PlanishGlide *glides, int count, double *values)
{
  bool moving = false;
  for (int i = 0; i < count; ++i) {
    moving = moving || planish_glide_is_moving(&glides[i]);
    values[i] = planish_glide_next(&glides[i]);
  }
  return moving;
}

#endif
