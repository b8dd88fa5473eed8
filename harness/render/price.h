/* What a master costs: the figures by which a client chooses between loudnesses.
 *
 * In full, or only what is cheap enough for every master: the distortion around its loudest moment.
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

#define PLANISH_PRICE_LOUDEST 30.0 /* s, around the loudest moment */

typedef struct {
  bool known;                   /* in full */
  PlanishPunchResult punch_mix; /* at the onsets of the mix, as is that of the master */
  PlanishPunchResult punch_master;
  bool has_distortion;
  PlanishDistortion distortion; /* of the whole chain; look at its status */
} PlanishPrice;

/* `file` is the master that `job` has rendered. */
bool planish_price_find(PlanishPrice *price, const PlanishRenderJob *job, const char *file,
                        const char *beside, PlanishError *error);

/* Fills only the distortion of the PLANISH_PRICE_LOUDEST seconds around `middle`, a frame of the
 * file; has_distortion stays false where that is too short for an account. */
bool planish_price_find_around(PlanishPrice *price, const PlanishRenderJob *job, const char *file,
                               const char *beside, uint64_t middle, PlanishError *error);

#endif
