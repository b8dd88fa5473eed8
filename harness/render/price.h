/* What a master costs: the figures by which a client chooses between loudnesses.
 *
 * Measured on the finished file against the mix at its working level, lined up to the frame.
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_PRICE_H
#define PLANISH_HARNESS_PRICE_H

#include "harness/measure/punch.h"
#include "harness/render/renderer.h"

typedef struct {
  bool known;
  PlanishPunchResult punch_mix; /* at the onsets of the mix, as is that of the master */
  PlanishPunchResult punch_master;
} PlanishPrice;

/* `file` is the master that `job` has rendered. */
bool planish_price_find(PlanishPrice *price, const PlanishRenderJob *job, const char *file,
                        PlanishError *error);

#endif
