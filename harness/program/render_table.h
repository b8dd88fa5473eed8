/* What a render did, as a table that can be read without a manual, or as JSON. Thread: main. */
#ifndef PLANISH_HARNESS_RENDER_TABLE_H
#define PLANISH_HARNESS_RENDER_TABLE_H

#include "harness/base/json.h"
#include "harness/program/distortion_table.h"
#include "harness/render/master.h"

void planish_render_table(const PlanishMasterJob *job, const PlanishMasterReport *report);
/* `price` may be NULL: not asked for. */
void planish_render_json(const PlanishMasterJob *job, const PlanishMasterReport *report,
                         const PlanishDistortionTable *price);

#endif
