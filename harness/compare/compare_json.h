/* A comparison as a JSON object. */
#ifndef PLANISH_HARNESS_COMPARE_JSON_H
#define PLANISH_HARNESS_COMPARE_JSON_H

#include "harness/base/json.h"
#include "harness/compare/compare.h"

/* Writes one object as member `key` (NULL in an array and at the top). `tolerance` in dB, NAN for
 * none.
 *
 * Keys: a, b (files), rate_hz, same_samples, related, delay_frames, delay_s, turned_left,
 * turned_right, correlation, overlap_frames, differing_frames, first_difference_s, gain_db,
 * loudness_gain_db, null_db, null_at_loudness_db, largest_difference_dbfs, largest_difference_at_s,
 * a_ahead_db, b_ahead_db, a_beyond_db, b_beyond_db (see PlanishComparison), tolerance_db,
 * within_tolerance; loudness_difference_lu, true_peak_difference_db, sample_peak_difference_db,
 * plr_difference_lu (each B less A, as the files are); third_octaves, an array of objects:
 * nominal_hz, a_dbfs, b_dbfs (mean of left and right, as the files are), difference_db (B less A at
 * equal loudness), null_db (of the difference re the louder there); punch: onsets, a_db, b_db,
 * low_onsets, low_a_db, low_b_db; measurement_a, measurement_b, see measure_json.h. No value, and a
 * null without any difference, are null. */
void planish_compare_json(PlanishJson *json, const char *key, const char *const path[2],
                          double tolerance, const PlanishComparison *result);

/* Level of a band of a file, dBFS: the mean power of left and right. */
double planish_compare_band(const PlanishThirdOctaveLevels *levels, size_t band);

/* B less A in a band, dB, at equal loudness (as they are where there is none); NAN where one has
 * nothing there. */
double planish_compare_band_change(const PlanishComparison *result, size_t band);

/* The difference in a band re the louder of A and B (at `gain`) there, dB. */
double planish_compare_band_null(const PlanishComparison *result, size_t band);

/* Whether the difference is within the tolerance, and so is what one has beyond the other's end. */
bool planish_compare_within(const PlanishComparison *result, double tolerance);

#endif
