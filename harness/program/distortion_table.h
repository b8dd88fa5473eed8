/* What a render's loudness cost: the account of distortion (distortion/distortion.h) of each stage
 * and of the whole chain, made after the render. Thread: main. */
#ifndef PLANISH_HARNESS_DISTORTION_TABLE_H
#define PLANISH_HARNESS_DISTORTION_TABLE_H

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
} PlanishDistortionTable;

/* From the sound at all boundaries of the main path (render_after.h). NULL on failure; the master
 * stands. */
PlanishDistortionTable *planish_distortion_table_new(const PlanishMasterJob *job,
                                                     const PlanishStageTracks *tracks,
                                                     PlanishError *error);
/* NULL is allowed. */
void planish_distortion_table_free(PlanishDistortionTable *price);

void planish_distortion_table_print(const PlanishMasterJob *job,
                                    const PlanishDistortionTable *price);

/* A member "account": whole, stages. Null where `price` is NULL. */
void planish_distortion_table_json(PlanishJson *json, const PlanishDistortionTable *price);

/* One line on standard error where the price ruins. */
void planish_distortion_table_warn(const PlanishDistortionTable *price);

#endif
