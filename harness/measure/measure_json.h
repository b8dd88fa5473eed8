/* A measurement as a JSON object. */
#ifndef PLANISH_HARNESS_MEASURE_JSON_H
#define PLANISH_HARNESS_MEASURE_JSON_H

#include "harness/base/json.h"
#include "harness/measure/measure.h"

/* Writes one object as member `key` (NULL in an array and at the top). `file` is the name of what
 * was measured, NULL for none. What could not be measured is null.
 *
 * Keys: file, frames, rate_hz, channels, duration_s, integrated_lufs, momentary_max_lufs,
 * momentary_max_end_s, shortterm_max_lufs, shortterm_max_end_s, lra_lu, true_peak_dbtp,
 * true_peak_at_s, true_peak_channel ("left", "right"), sample_peak_dbfs, sample_peak_at_s,
 * sample_peak_channel, plr_lu, psr_min_lu, rms_dbfs, mid_rms_dbfs, side_rms_dbfs, correlation,
 * mono_integrated_lufs, mono_loss_lu, dc_offset (an array: left, right; 1.0 is full scale),
 * clipped_runs. */
void planish_measure_json(PlanishJson *json, const char *key, const char *file,
                          const PlanishMeasurement *measurement);

#endif
