#include "harness/render/stage_tracks.h"

#include <stdlib.h>

static bool open_tracks(PlanishStageTracks *tracks, const char *beside, const bool *wanted,
                        PlanishError *error)
{
  uint64_t still_to_come = 0;
  for (uint32_t n = 0; n < tracks->count; ++n) {
    still_to_come += wanted == NULL || wanted[n] ? tracks->frames : 0;
  }
  for (uint32_t n = 0; n < tracks->count; ++n) {
    if (wanted == NULL || wanted[n]) {
      /* The first asks for the room of all. */
      tracks->tracks[n] = planish_track_new(beside, still_to_come, error);
      still_to_come = 0;
      if (tracks->tracks[n] == NULL) {
        return false;
      }
    }
  }
  return true;
}

static bool list_stages(PlanishStageTracks *tracks, const PlanishSheet *sheet, PlanishError *error)
{
  tracks->stages = calloc((size_t)sheet->stage_count + 1, sizeof *tracks->stages);
  tracks->tracks = calloc((size_t)sheet->stage_count + 1, sizeof(PlanishTrack *));
  tracks->accounts = calloc((size_t)sheet->stage_count + 1, sizeof *tracks->accounts);
  if (tracks->stages == NULL || tracks->tracks == NULL || tracks->accounts == NULL) {
    return planish_fail_memory(error);
  }
  tracks->account_count = sheet->stage_count;
  tracks->count = 1;
  for (uint32_t n = planish_sheet_next(sheet, 0, 0); n < sheet->stage_count;
       n = planish_sheet_next(sheet, n + 1, 0)) {
    tracks->stages[tracks->count - 1] = n;
    tracks->count += 1;
  }
  return true;
}

static bool fill(PlanishStageTracks *tracks, const PlanishRenderJob *job, PlanishError *error)
{
  PlanishTap *sound = calloc((size_t)tracks->account_count + 1, sizeof *sound);
  if (sound == NULL) {
    return planish_fail_memory(error);
  }
  for (uint32_t n = 0; n < tracks->count; ++n) {
    if (tracks->tracks[n] != NULL) {
      const uint32_t boundary = n == 0 ? 0 : tracks->stages[n - 1] + 1;
      sound[boundary] = (PlanishTap){planish_track_write, tracks->tracks[n]};
    }
  }
  const PlanishTaps taps = {
      .sound = sound, .values = planish_series_take, .values_user = tracks->series};
  PlanishRenderJob tapped = *job;
  tapped.taps = &taps;
  const bool done = planish_render(&tapped, NULL, NULL, tracks->accounts, NULL, error);
  free(sound);
  return done;
}

PlanishStageTracks *planish_stage_tracks_new(const PlanishRenderJob *job, const char *beside,
                                             const bool *wanted, PlanishError *error)
{
  PlanishStageTracks *tracks = calloc(1, sizeof *tracks);
  if (tracks == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  tracks->rate = planish_reader_rate(job->mix);
  tracks->frames = planish_render_tapped_frames(job);
  tracks->series = planish_series_new(job->sheet, tracks->rate, tracks->frames, error);
  if (tracks->series == NULL || !list_stages(tracks, job->sheet, error) ||
      !open_tracks(tracks, beside, wanted, error) || !fill(tracks, job, error)) {
    planish_stage_tracks_free(tracks);
    return NULL;
  }
  return tracks;
}

void planish_stage_tracks_free(PlanishStageTracks *tracks)
{
  if (tracks == NULL) {
    return;
  }
  for (uint32_t n = 0; tracks->tracks != NULL && n < tracks->count; ++n) {
    planish_track_free(tracks->tracks[n]);
  }
  free(tracks->tracks);
  free(tracks->stages);
  planish_accounts_free(tracks->accounts, tracks->account_count);
  planish_series_free(tracks->series);
  free(tracks);
}
