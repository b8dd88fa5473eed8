#include "harness/compare/compare_json.h"

#include "common/dsp/maths.h"
#include "harness/measure/measure_json.h"

double planish_compare_band(const PlanishThirdOctaveLevels *levels, size_t band)
{
  const double left = pow(10.0, levels->band[band].level[PLANISH_BAND_LEFT] / 10.0);
  const double right = pow(10.0, levels->band[band].level[PLANISH_BAND_RIGHT] / 10.0);
  return 10.0 * log10(0.5 * (left + right));
}

double planish_compare_band_change(const PlanishComparison *result, size_t band)
{
  const double a = planish_compare_band(&result->octaves[0], band);
  const double b = planish_compare_band(&result->octaves[1], band);
  const double gain = isfinite(result->loudness_gain) ? result->loudness_gain : 0.0;
  return isfinite(a) && isfinite(b) ? b + gain - a : (double)NAN;
}

double planish_compare_band_null(const PlanishComparison *result, size_t band)
{
  const double a = planish_compare_band(&result->octaves[0], band);
  const double b = planish_compare_band(&result->octaves[1], band) + result->gain;
  return planish_compare_band(&result->difference, band) - fmax(a, b);
}

bool planish_compare_within(const PlanishComparison *result, double tolerance)
{
  bool within = result->overlap > 0 && result->null_depth <= tolerance &&
                result->alignment.turned[0] == result->alignment.turned[1];
  for (int n = 0; n < 2; ++n) {
    within = within && result->ahead[n] <= tolerance && result->beyond[n] <= tolerance;
  }
  return result->same_samples || within;
}

static void write_match(PlanishJson *json, const PlanishComparison *result)
{
  planish_json_number(json, "rate_hz", result->rate);
  planish_json_bool(json, "same_samples", result->same_samples);
  planish_json_bool(json, "related", result->related);
  planish_json_number(json, "delay_frames", result->alignment.delay);
  planish_json_number(json, "delay_s", result->alignment.delay / result->rate);
  planish_json_bool(json, "turned_left", result->alignment.turned[0]);
  planish_json_bool(json, "turned_right", result->alignment.turned[1]);
  planish_json_number(json, "correlation", result->alignment.correlation);
  planish_json_integer(json, "overlap_frames", (int64_t)result->overlap);
  planish_json_integer(json, "differing_frames", (int64_t)result->differing);
  planish_json_number(json, "first_difference_s",
                      result->differing > 0 ? (double)result->first_difference / result->rate
                                            : (double)NAN);
  planish_json_number(json, "gain_db", result->gain);
  planish_json_number(json, "loudness_gain_db", result->loudness_gain);
  planish_json_number(json, "null_db", result->null_depth);
  planish_json_number(json, "null_at_loudness_db", result->null_at_loudness);
  planish_json_number(json, "largest_difference_dbfs", result->largest_difference);
  planish_json_number(json, "largest_difference_at_s",
                      isfinite(result->largest_difference) ? result->largest_at / result->rate
                                                           : (double)NAN);
}

static void write_beyond(PlanishJson *json, const PlanishComparison *result)
{
  planish_json_number(json, "a_ahead_db", result->ahead[0]);
  planish_json_number(json, "b_ahead_db", result->ahead[1]);
  planish_json_number(json, "a_beyond_db", result->beyond[0]);
  planish_json_number(json, "b_beyond_db", result->beyond[1]);
}

static void write_differences(PlanishJson *json, const PlanishComparison *result)
{
  const PlanishMeasurement *a = &result->measurement[0];
  const PlanishMeasurement *b = &result->measurement[1];
  planish_json_number(json, "loudness_difference_lu", b->integrated - a->integrated);
  planish_json_number(json, "true_peak_difference_db", b->true_peak - a->true_peak);
  planish_json_number(json, "sample_peak_difference_db", b->sample_peak - a->sample_peak);
  planish_json_number(json, "plr_difference_lu", b->plr - a->plr);
}

static void write_octaves(PlanishJson *json, const PlanishComparison *result)
{
  planish_json_array_begin(json, "third_octaves");
  for (size_t n = 0; n < result->octaves[0].count; ++n) {
    planish_json_object_begin(json, NULL);
    planish_json_number(json, "nominal_hz", result->octaves[0].band[n].nominal);
    planish_json_number(json, "a_dbfs", planish_compare_band(&result->octaves[0], n));
    planish_json_number(json, "b_dbfs", planish_compare_band(&result->octaves[1], n));
    planish_json_number(json, "difference_db", planish_compare_band_change(result, n));
    planish_json_number(json, "null_db", planish_compare_band_null(result, n));
    planish_json_object_end(json);
  }
  planish_json_array_end(json);
}

static void write_punch(PlanishJson *json, const PlanishPunchResult *punch)
{
  planish_json_object_begin(json, "punch");
  planish_json_integer(json, "onsets", (int64_t)punch[0].full.onsets);
  planish_json_number(json, "a_db", punch[0].full.punch);
  planish_json_number(json, "b_db", punch[1].full.punch);
  planish_json_integer(json, "low_onsets", (int64_t)punch[0].low.onsets);
  planish_json_number(json, "low_a_db", punch[0].low.punch);
  planish_json_number(json, "low_b_db", punch[1].low.punch);
  planish_json_object_end(json);
}

void planish_compare_json(PlanishJson *json, const char *key, const char *const path[2],
                          double tolerance, const PlanishComparison *result)
{
  planish_json_object_begin(json, key);
  planish_json_string(json, "a", path[0]);
  planish_json_string(json, "b", path[1]);
  write_match(json, result);
  write_beyond(json, result);
  planish_json_number(json, "tolerance_db", tolerance);
  if (isnan(tolerance)) {
    planish_json_null(json, "within_tolerance");
  } else {
    planish_json_bool(json, "within_tolerance", planish_compare_within(result, tolerance));
  }
  write_differences(json, result);
  write_octaves(json, result);
  write_punch(json, result->punch);
  planish_measure_json(json, "measurement_a", path[0], &result->measurement[0]);
  planish_measure_json(json, "measurement_b", path[1], &result->measurement[1]);
  planish_json_object_end(json);
}
