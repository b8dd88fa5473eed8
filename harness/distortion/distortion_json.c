#include "harness/distortion/distortion_json.h"

static const char *key_of(PlanishDistortionStatus status)
{
  static const char *const keys[] = {"done", "too_short", "silent"};
  return keys[status];
}

void planish_distortion_json(PlanishJson *json, const char *key, const char *name, double rate,
                             const PlanishDistortion *distortion)
{
  planish_json_object_begin(json, key);
  planish_json_string(json, "name", name);
  planish_json_string(json, "status", key_of(distortion->status));
  planish_json_number(json, "stretch_from_s", (double)distortion->stretch.first / rate);
  planish_json_number(json, "stretch_s", (double)distortion->stretch.frames / rate);
  planish_json_number(json, "loudness_before_lufs", distortion->before.loudness);
  planish_json_number(json, "loudness_after_lufs", distortion->after.loudness);
  planish_json_number(json, "true_peak_before_dbtp", distortion->before.true_peak);
  planish_json_number(json, "true_peak_after_dbtp", distortion->after.true_peak);
  planish_json_number(json, "loudness_won_lu", distortion->loudness_won);
  planish_json_number(json, "plr_change_lu", -distortion->loudness_won);
  planish_json_number(json, "gain_lowest_db", distortion->gain_lowest);
  planish_json_number(json, "gain_highest_db", distortion->gain_highest);
  planish_json_number(json, "gain_mean_db", distortion->gain_mean);
  planish_json_number(json, "not_linear_db", distortion->not_linear);
  planish_json_number(json, "level_db", distortion->level);
  planish_json_number(json, "distortion_db", distortion->distortion);
  planish_json_number(json, "audible_share", distortion->audible);
  planish_json_number(json, "nmr_p95_db", distortion->nmr_p95);
  planish_json_bool(json, "ruins", planish_distortion_ruins(distortion));
  planish_json_object_end(json);
}
