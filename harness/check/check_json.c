#include "harness/check/check_json.h"

#include "harness/measure/measure_json.h"

const char *planish_check_verdict(const PlanishFindings *findings)
{
  return planish_findings_of(findings, PLANISH_FAULT) > 0     ? "faults"
         : planish_findings_of(findings, PLANISH_WARNING) > 0 ? "warnings"
         : findings->count > 0                                ? "notes"
                                                              : "clean";
}

static void write_finding(PlanishJson *json, const PlanishFinding *finding)
{
  planish_json_object_begin(json, NULL);
  planish_json_string(json, "kind", planish_finding_kind_name(finding->kind));
  planish_json_string(json, "severity", planish_finding_severity_name(finding->severity));
  planish_json_string(json, "channel", planish_finding_channel_name(finding->channel));
  planish_json_integer(json, "count", (int64_t)finding->count);
  planish_json_array_begin(json, "times_s");
  for (size_t n = 0; n < finding->times; ++n) {
    planish_json_number(json, NULL, finding->time[n]);
  }
  planish_json_array_end(json);
  planish_json_number(json, "value", finding->value);
  planish_json_string(json, "unit", finding->unit);
  planish_json_string(json, "what", finding->what);
  planish_json_string(json, "remedy", finding->remedy);
  planish_json_object_end(json);
}

static void write_bits(PlanishJson *json, const char *key, unsigned bits)
{
  if (bits > 0) {
    planish_json_integer(json, key, bits);
  } else {
    planish_json_null(json, key);
  }
}

void planish_check_json(PlanishJson *json, const char *key, const char *file,
                        const PlanishCheckResult *result)
{
  planish_json_object_begin(json, key);
  planish_json_string(json, "file", file);
  planish_json_string(json, "verdict", planish_check_verdict(&result->findings));
  write_bits(json, "word_bits", result->source.word.bits);
  planish_json_bool(json, "word_float", result->source.word.floating);
  write_bits(json, "bits_used", result->bits_used);
  planish_json_number(json, "pause_floor_dbfs", result->pause_floor);
  planish_json_number(json, "pause_floor_at_s", result->pause_floor_at);
  planish_json_number(json, "band_edge_hz", result->band_edge);
  planish_json_array_begin(json, "findings");
  for (size_t n = 0; n < result->findings.count; ++n) {
    write_finding(json, &result->findings.finding[n]);
  }
  planish_json_array_end(json);
  planish_measure_json(json, "measurement", NULL, &result->measurement);
  planish_json_object_end(json);
}
