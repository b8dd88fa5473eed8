/* What a render's loudness cost: the account of distortion (distortion/distortion.h) of each stage
 * and of the whole chain, made after the render. Thread: main. */
#ifndef PLANISH_HARNESS_RENDER_PRICE_H
#define PLANISH_HARNESS_RENDER_PRICE_H

#include "harness/base/json.h"
#include "harness/distortion/distortion.h"
#include "harness/render/master.h"
#include "harness/render/stage_tracks.h"

typedef struct {
  double rate; /* Hz */
  PlanishDistortion whole;
  PlanishDistortion *stages; /* of each stage and branch on the main path */
  const char **names;        /* theirs, those of the sheet */
  uint32_t count;
} PlanishRenderPrice;

/* From the sound at all boundaries of the main path (render_after.h). NULL on failure; the master
 * stands. */
PlanishRenderPrice *planish_render_price_new(const PlanishMasterJob *job,
                                             const PlanishStageTracks *tracks, PlanishError *error);
/* NULL is allowed. */
void planish_render_price_free(PlanishRenderPrice *price);

void planish_render_price_table(const PlanishMasterJob *job, const PlanishRenderPrice *price);

/* A member "account": whole, stages. Null where `price` is NULL. */
void planish_render_price_json(PlanishJson *json, const PlanishRenderPrice *price);

/* One line on standard error where the price ruins. */
void planish_render_price_warn(const PlanishRenderPrice *price);

#endif
