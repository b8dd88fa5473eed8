#include "harness/measure/measure_json.h"

static const char *name_of_channel(uint32_t channel)
{
  return channel == 0 ? "left" : "right";
}

static void write_loudness(PlanishJson *json, const PlanishMeasurement *m)
{
  planish_json_number(json, "integrated_lufs", m->integrated);
  planish_json_number(json, "momentary_max_lufs", m->momentary_max);
  planish_json_number(json, "momentary_max_end_s", (double)m->momentary_max_end / m->rate);
  planish_json_number(json, "shortterm_max_lufs", m->shortterm_max);
  planish_json_number(json, "shortterm_max_end_s", (double)m->shortterm_max_end / m->rate);
  planish_json_number(json, "lra_lu", m->range);
}

static void write_peaks(PlanishJson *json, const PlanishMeasurement *m)
{
  planish_json_number(json, "true_peak_dbtp", m->true_peak);
  planish_json_number(json, "true_peak_at_s", m->true_peak_at / m->rate);
  planish_json_string(json, "true_peak_channel", name_of_channel(m->true_peak_channel));
  planish_json_number(json, "sample_peak_dbfs", m->sample_peak);
  planish_json_number(json, "sample_peak_at_s", (double)m->sample_peak_at / m->rate);
  planish_json_string(json, "sample_peak_channel", name_of_channel(m->sample_peak_channel));
  planish_json_number(json, "plr_lu", m->plr);
  planish_json_number(json, "psr_min_lu", m->psr_min);
  planish_json_integer(json, "clipped_runs", (int64_t)m->clipped_runs);
}

static void write_stereo(PlanishJson *json, const PlanishMeasurement *m)
{
  planish_json_number(json, "rms_dbfs", m->rms);
  planish_json_number(json, "mid_rms_dbfs", m->mid_rms);
  planish_json_number(json, "side_rms_dbfs", m->side_rms);
  planish_json_number(json, "correlation", m->correlation);
  planish_json_number(json, "mono_integrated_lufs", m->mono_integrated);
  planish_json_number(json, "mono_loss_lu", m->mono_loss);
  planish_json_array_begin(json, "dc_offset");
  planish_json_number(json, NULL, m->dc_offset[0]);
  planish_json_number(json, NULL, m->dc_offset[1]);
  planish_json_array_end(json);
}

void planish_measure_json(PlanishJson *json, const char *key, const char *file,
                          const PlanishMeasurement *measurement)
{
  planish_json_object_begin(json, key);
  planish_json_string(json, "file", file);
  planish_json_integer(json, "frames", (int64_t)measurement->frames);
  planish_json_number(json, "rate_hz", measurement->rate);
  planish_json_integer(json, "channels", measurement->channels);
  planish_json_number(json, "duration_s", measurement->duration);
  write_loudness(json, measurement);
  write_peaks(json, measurement);
  write_stereo(json, measurement);
  planish_json_object_end(json);
}
