/* A delivered file as a JSON object. */
#ifndef PLANISH_HARNESS_DELIVER_JSON_H
#define PLANISH_HARNESS_DELIVER_JSON_H

#include "harness/base/json.h"
#include "harness/deliver/deliver.h"

/* Writes one object as member `key` (NULL in an array and at the top). Keys: master, spec, file
 * (null where none was made), container, bits (null: coded), floating, dither, rate_hz, frames,
 * added_frames, master_measured, before, matched_db, lowered_db, clipped_samples, written, decoded
 * (of coded files: ceiling_dbtp, samples_over, places, at_s, height_dbtp, avoiding_ceiling_dbtp),
 * notes, missed. What was not made has no measurement: null. */
void planish_deliver_json(PlanishJson *json, const char *key, const PlanishDelivery *delivery);

#endif
