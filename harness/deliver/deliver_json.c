#include "harness/deliver/deliver_json.h"

#include "harness/measure/measure_json.h"

static void write_lines(PlanishJson *json, const char *key, const PlanishLines *lines)
{
  planish_json_array_begin(json, key);
  for (size_t n = 0; n < lines->count; ++n) {
    planish_json_string(json, NULL, lines->text[n]);
  }
  planish_json_array_end(json);
}

static void write_numbers(PlanishJson *json, const char *key, const double *numbers, size_t count)
{
  planish_json_array_begin(json, key);
  for (size_t n = 0; n < count; ++n) {
    planish_json_number(json, NULL, numbers[n]);
  }
  planish_json_array_end(json);
}

static void write_overs(PlanishJson *json, const PlanishDelivery *delivery)
{
  const PlanishOvers *overs = &delivery->back.overs;
  const size_t kept =
      overs->places < PLANISH_PLACES_KEPT ? (size_t)overs->places : PLANISH_PLACES_KEPT;
  if (!delivery->made || !planish_coding_of(delivery->job.spec->format)->coded) {
    planish_json_null(json, "decoded");
    return;
  }
  planish_json_object_begin(json, "decoded");
  planish_json_number(json, "ceiling_dbtp", overs->ceiling);
  planish_json_integer(json, "samples_over", (int64_t)overs->samples);
  planish_json_integer(json, "places", (int64_t)overs->places);
  write_numbers(json, "at_s", overs->at, kept);
  write_numbers(json, "height_dbtp", overs->height, kept);
  planish_json_number(json, "avoiding_ceiling_dbtp",
                      overs->has_avoiding ? overs->avoiding : (double)NAN);
  planish_json_object_end(json);
}

static void write_format(PlanishJson *json, const PlanishSpec *spec)
{
  const bool words = spec->bits == 16 || spec->bits == 24;
  planish_json_string(json, "container", planish_format_words[spec->format]);
  if (spec->bits > 0) {
    planish_json_integer(json, "bits", spec->bits);
  } else {
    planish_json_null(json, "bits");
  }
  planish_json_bool(json, "floating", spec->bits == 32);
  planish_json_string(json, "dither", !words ? NULL : spec->shaped ? "shaped" : "plain");
}

void planish_deliver_json(PlanishJson *json, const char *key, const PlanishDelivery *delivery)
{
  planish_json_object_begin(json, key);
  planish_json_string(json, "master", planish_source_path(delivery->job.source));
  planish_json_string(json, "spec", delivery->job.spec->name);
  planish_json_string(json, "file", delivery->made ? delivery->path : NULL);
  write_format(json, delivery->job.spec);
  planish_json_number(json, "rate_hz", delivery->rate);
  planish_json_integer(json, "frames", (int64_t)delivery->frames);
  planish_json_integer(json, "added_frames", (int64_t)delivery->added);
  planish_measure_json(json, "master_measured", NULL, &delivery->master);
  planish_measure_json(json, "before", NULL, &delivery->before);
  planish_json_number(json, "matched_db", delivery->matched);
  planish_json_number(json, "lowered_db", delivery->lowered);
  planish_json_integer(json, "clipped_samples", (int64_t)delivery->clipped);
  if (delivery->made) {
    planish_measure_json(json, "written", NULL, &delivery->back.measured);
  } else {
    planish_json_null(json, "written");
  }
  write_overs(json, delivery);
  write_lines(json, "notes", &delivery->notes);
  write_lines(json, "missed", &delivery->missed);
  planish_json_object_end(json);
}
