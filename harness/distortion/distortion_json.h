/* An account of distortion as a JSON object. */
#ifndef PLANISH_HARNESS_DISTORTION_JSON_H
#define PLANISH_HARNESS_DISTORTION_JSON_H

#include "harness/base/json.h"
#include "harness/distortion/distortion.h"

/* Writes one object as member `key` (NULL in an array and at the top); `name` is the stage's, NULL
 * for none. What could not be had is null.
 *
 * Keys: name, status ("done", "too_short", "silent"), stretch_from_s, stretch_s,
 * loudness_before_lufs, loudness_after_lufs, true_peak_before_dbtp, true_peak_after_dbtp,
 * loudness_won_lu, plr_change_lu, gain_lowest_db, gain_highest_db, gain_mean_db, not_linear_db,
 * level_db, distortion_db, audible_share, nmr_p95_db, ruins (a truth value). */
void planish_distortion_json(PlanishJson *json, const char *key, const char *name, double rate,
                             const PlanishDistortion *distortion);

#endif
