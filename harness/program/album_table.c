#include "harness/program/album_table.h"

#include "harness/base/text.h"
#include "harness/measure/measure_json.h"
#include "harness/program/figures.h"
#include "harness/program/options.h"
#include "harness/program/warnings.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { TITLE = 26 };

static const char *text_of(const PlanishMetadata *metadata, PlanishMetadataField field)
{
  return metadata->text[field];
}

/* A title, or the name of the file, cut to its column without cutting a character. */
static void print_title(const PlanishAlbumPlanTrack *track)
{
  const char *title = text_of(&track->track->metadata, PLANISH_METADATA_TITLE);
  const char *slash = strrchr(track->path, '/');
  const char *at = title != NULL ? title : slash == NULL ? track->path : slash + 1;
  int width = 0;
  while (*at != '\0' && width < TITLE) {
    const size_t length = planish_text_character(at);
    const bool plain = length > 0 && (unsigned char)*at >= 0x20 && *at != 0x7f;
    (void)printf("%.*s", plain ? (int)length : 1, plain ? at : "?");
    at += length > 0 ? length : 1;
    width += 1;
  }
  (void)printf("%*s", TITLE - width, "");
}

static void print_number(double value, int width, int digits, bool is_signed)
{
  if (isfinite(value)) {
    planish_text_print(stdout, is_signed ? " %+*.*f" : " %*.*f", width, digits, value);
  } else {
    planish_text_print(stdout, " %*s", width, "-");
  }
}

static void print_track(const PlanishAlbumPlan *plan, const PlanishAlbumResult *result, size_t n,
                        size_t stream, double start)
{
  const PlanishAlbumPlanTrack *track = &plan->tracks[n];
  const PlanishAlbumStreamResult *made = &result->streams[stream];
  const PlanishMeasurement *master = &result->tracks[n];
  const bool first = n == plan->streams[stream].first;
  const double none = (double)NAN;
  char begins[PLANISH_TEXT_TIME];
  char length[PLANISH_TEXT_TIME];
  planish_text_print(stdout, "%3s ", text_of(&track->track->metadata, PLANISH_METADATA_TRACK));
  print_title(track);
  planish_text_print(stdout, " %10s %10s", planish_text_of_time(begins, start),
                     planish_text_of_time(length, (double)track->frames / plan->rate));
  print_number((double)track->silence / plan->rate, 6, 2, false);
  print_number(track->mix.measured.integrated, 7, 2, false);
  print_number(track->offset, 6, 2, true);
  if (!result->made[stream]) {
    planish_text_print(stdout, "  not made\n");
    return;
  }
  print_number(master->integrated, 7, 2, false);
  print_number(master->true_peak, 7, 2, false);
  print_number(isfinite(master->integrated) ? master->plr : none, 6, 2, false);
  print_number(master->range, 6, 2, false);
  print_number(first && made->has_drive ? made->extra_drive : none, 6, 2, false);
  print_number(first && made->has_audible ? 100.0 * made->audible : none, 7, 1, false);
  planish_text_print(stdout, "%s%s%s\n", track->track->runs_on ? "  runs on" : "",
                     made->kept ? "  kept" : "", made->reason[0] != '\0' ? "  missed" : "");
}

static void print_head(const PlanishAlbumPlan *plan)
{
  const PlanishAlbum *album = plan->album;
  const char *title = text_of(&album->metadata, PLANISH_METADATA_ALBUM);
  char line[400];
  planish_text_line(line, sizeof line, "album     %s: %zu tracks at %g Hz, landing at %.2f LUFS%s",
                    title == NULL ? album->path : title, album->count, plan->rate, plan->loudness,
                    album->cd ? ", on sectors of a CD" : "");
  (void)puts(line);
  for (size_t n = 0; n < album->count; ++n) {
    if (plan->tracks[n].file_rate != plan->rate) {
      planish_text_line(line, sizeof line, "converted %s: from %g Hz", album->tracks[n].mix,
                        plan->tracks[n].file_rate);
      (void)puts(line);
    }
  }
  planish_text_print(stdout, "\n%3s %-*s %10s %10s %6s %7s %6s %7s %7s %6s %6s %6s %7s\n", "",
                     TITLE, "track", "begins", "length", "gap", "mix", "offset", "master", "true",
                     "PLR", "range", "extra", "audible");
  planish_text_print(stdout, "%3s %-*s %10s %10s %6s %7s %6s %7s %7s %6s %6s %6s %7s\n", "", TITLE,
                     "", "", "", "s", "LUFS", "LU", "LUFS", "dBTP", "LU", "LU", "dB", "%");
}

static void print_album(const PlanishAlbumPlan *plan, const PlanishAlbumResult *result)
{
  char loudness[PLANISH_FIGURE];
  char peak[PLANISH_FIGURE];
  char time[PLANISH_TEXT_TIME];
  if (result->has_album) {
    planish_figure(loudness, result->album.integrated, "LUFS");
    planish_figure(peak, result->album.true_peak, "dBTP");
    planish_text_print(stdout, "\nalbum     %s, %s, loudness range %.2f LU, %s\n", loudness, peak,
                       result->album.range, planish_text_of_time(time, result->album.duration));
  }
  bool made = false;
  for (size_t s = 0; s < plan->stream_count; ++s) {
    made = made || result->made[s];
  }
  if (made) {
    planish_text_print(stdout, "written   %s/\n", plan->folder);
  }
}

void planish_album_table(const PlanishAlbumPlan *plan, const PlanishAlbumResult *result)
{
  uint64_t at = 0;
  print_head(plan);
  for (size_t s = 0; s < plan->stream_count; ++s) {
    for (size_t k = 0; k < plan->streams[s].count; ++k) {
      const size_t n = plan->streams[s].first + k;
      print_track(plan, result, n, s, (double)at / plan->rate);
      at += plan->tracks[n].frames;
    }
  }
  print_album(plan, result);
}

size_t planish_album_tell_missed(const PlanishAlbumPlan *plan, const PlanishAlbumResult *result)
{
  size_t missed = 0;
  for (size_t s = 0; s < plan->stream_count; ++s) {
    const PlanishAlbumStreamResult *stream = &result->streams[s];
    const char *path = plan->tracks[plan->streams[s].first].path;
    const PlanishMasterReport report = {
        .has_drive = stream->has_drive,
        .extra_drive = stream->extra_drive,
        .price = {.has_distortion = stream->has_audible,
                  .distortion = {.status = PLANISH_DISTORTION_DONE, .audible = stream->audible}}};
    if (result->made[s]) {
      planish_warn_of_price(path, &report);
    }
    if (result->made[s] && stream->reason[0] != '\0') {
      PlanishError line = {0};
      planish_fail(&line, PLANISH_MISSED, "%s", stream->reason);
      (void)fprintf(stderr, "planish: %s\n", line.text);
      missed += 1;
    }
  }
  return missed;
}

static void json_track(PlanishJson *json, const PlanishAlbumPlan *plan,
                       const PlanishAlbumResult *result, size_t n, size_t s)
{
  const PlanishAlbumPlanTrack *track = &plan->tracks[n];
  const PlanishMetadata *metadata = &track->track->metadata;
  const PlanishAlbumStreamResult *stream = &result->streams[s];
  const PlanishAlbumTrack *first = plan->tracks[plan->streams[s].first].track;
  const double none = (double)NAN;
  const bool made = result->made[s];
  planish_json_object_begin(json, NULL);
  planish_json_integer(json, "number",
                       (int64_t)strtoul(text_of(metadata, PLANISH_METADATA_TRACK), NULL, 10));
  planish_json_string(json, "title", text_of(metadata, PLANISH_METADATA_TITLE));
  planish_json_string(json, "isrc", text_of(metadata, PLANISH_METADATA_ISRC));
  planish_json_string(json, "file", track->path);
  planish_json_bool(json, "made", made);
  planish_json_bool(json, "kept", made && stream->kept);
  planish_measure_json(json, "mix", track->track->mix, &track->mix.measured);
  planish_json_number(json, "file_rate_hz", track->file_rate);
  planish_json_number(json, "offset_lu", track->offset);
  planish_json_bool(json, "offset_given", first->has_offset);
  planish_json_bool(json, "runs_on", track->track->runs_on);
  planish_json_integer(json, "frames", (int64_t)track->frames);
  planish_json_integer(json, "silence_frames", (int64_t)track->silence);
  planish_json_number(json, "moved_to", made ? stream->moved_to : none);
  planish_json_number(json, "extra_drive_db",
                      made && stream->has_drive ? stream->extra_drive : none);
  planish_json_number(json, "audible_share", made && stream->has_audible ? stream->audible : none);
  planish_json_string(json, "reason", made && stream->reason[0] != '\0' ? stream->reason : NULL);
  if (made) {
    planish_measure_json(json, "master", track->path, &result->tracks[n]);
  } else {
    planish_json_null(json, "master");
  }
  planish_json_object_end(json);
}

void planish_album_json(PlanishJson *json, const PlanishAlbumPlan *plan,
                        const PlanishAlbumResult *result)
{
  planish_json_string(json, "album", text_of(&plan->album->metadata, PLANISH_METADATA_ALBUM));
  planish_json_string(json, "folder", plan->folder);
  planish_json_number(json, "rate_hz", plan->rate);
  planish_json_number(json, "target_loudness_lufs", plan->loudness);
  if (result->has_album) {
    planish_measure_json(json, "whole", NULL, &result->album);
  } else {
    planish_json_null(json, "whole");
  }
  planish_json_array_begin(json, "tracks");
  for (size_t s = 0; s < plan->stream_count; ++s) {
    for (size_t k = 0; k < plan->streams[s].count; ++k) {
      json_track(json, plan, result, plan->streams[s].first + k, s);
    }
  }
  planish_json_array_end(json);
}
