/* The result of a check as a JSON object. */
#ifndef PLANISH_HARNESS_CHECK_JSON_H
#define PLANISH_HARNESS_CHECK_JSON_H

#include "harness/base/json.h"
#include "harness/check/check.h"

/* Writes one object as member `key` (NULL in an array and at the top).
 *
 * Keys: file, verdict ("clean", "notes", "warnings", "faults": the worst), word_bits, word_float,
 * bits_used, pause_floor_dbfs, pause_floor_at_s, band_edge_hz; findings, an array of objects: kind,
 * severity ("note", "warning", "fault"), channel ("left", "right", null: both), count (of places),
 * times_s (the first ones, an array), value and its unit, what, remedy; and measurement, see
 * measure_json.h. What there is none of is null. */
void planish_check_json(PlanishJson *json, const char *key, const char *file,
                        const PlanishCheckResult *result);

/* "clean", "notes", "warnings" or "faults". */
const char *planish_check_verdict(const PlanishFindings *findings);

#endif
