/* What a master costs: the figures by which a client chooses between loudnesses.
 *
 * Measured on the finished file against the mix at its working level, lined up to the frame. For
 * the account of distortion (distortion/distortion.h) both are kept for a while as PlanishTracks
 * beside a path; where there is no room for them, it is left out.
 *
 * Errors: those of PlanishReader and of PlanishTrack. Thread: that of the host. */
#ifndef PLANISH_HARNESS_PRICE_H
#define PLANISH_HARNESS_PRICE_H

#include "harness/distortion/distortion.h"
#include "harness/measure/punch.h"
#include "harness/render/renderer.h"

typedef struct {
  bool known;
  PlanishPunchResult punch_mix; /* at the onsets of the mix, as is that of the master */
  PlanishPunchResult punch_master;
  bool has_distortion;
  PlanishDistortion distortion; /* of the whole chain; look at its status */
} PlanishPrice;

/* `file` is the master that `job` has rendered. */
bool planish_price_find(PlanishPrice *price, const PlanishRenderJob *job, const char *file,
                        const char *beside, PlanishError *error);

#endif
