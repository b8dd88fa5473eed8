#include "harness/album/album_plan.h"

#include "harness/audio/audio_reader.h"
#include "harness/base/interrupt.h"
#include "harness/base/place.h"
#include "harness/base/text.h"
#include "harness/base/workers.h"
#include "harness/deliver/file_name.h"
#include "harness/deliver/sectors.h"
#include "harness/recall/recall_file.h"
#include "harness/render/fades.h"
#include "harness/render/renderer.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { BLOCK = 4096 };

/* The rate of all: given, the chain's, or the highest that a mix has. */
static bool find_rate(PlanishAlbumPlan *plan, PlanishError *error)
{
  const PlanishAlbum *album = plan->album;
  const PlanishAlbumPlanTrack *highest = plan->tracks;
  for (size_t n = 0; n < album->count; ++n) {
    PlanishReader *reader = planish_reader_open(album->tracks[n].mix, NULL, error);
    if (reader == NULL) {
      return false;
    }
    plan->tracks[n].file_rate = planish_reader_rate(reader);
    planish_reader_free(reader);
    highest = plan->tracks[n].file_rate > highest->file_rate ? &plan->tracks[n] : highest;
  }
  const double of_sheet = album->tracks[0].sheet->rate;
  plan->rate = album->rate > 0.0 ? album->rate : of_sheet > 0.0 ? of_sheet : highest->file_rate;
  for (size_t n = 0; n < album->count && album->refuses_rates; ++n) {
    if (plan->tracks[n].file_rate != plan->rate) {
      return planish_fail(error, PLANISH_BAD_AUDIO,
                          "%g Hz, the album %g Hz: %s: export it at that rate, or write "
                          "\"other_rates: convert\"",
                          plan->tracks[n].file_rate, plan->rate, album->tracks[n].mix);
    }
  }
  return true;
}

static size_t stream_of(const PlanishAlbumPlan *plan, size_t track)
{
  size_t n = 0;
  while (n + 1 < plan->stream_count && track >= plan->streams[n + 1].first) {
    n += 1;
  }
  return n;
}

static void find_streams(PlanishAlbumPlan *plan)
{
  for (size_t n = 0; n < plan->album->count; ++n) {
    PlanishAlbumTrack *track = &plan->album->tracks[n];
    plan->tracks[n].track = track;
    if (track->runs_on) {
      plan->streams[plan->stream_count - 1].count += 1;
    } else {
      track->sheet->rate = plan->rate;
      plan->streams[plan->stream_count++] =
          (PlanishAlbumStream){.first = n, .count = 1, .sheet = track->sheet};
    }
  }
}

void planish_album_mixes(const PlanishAlbumPlan *plan, const PlanishAlbumStream *stream,
                         const char *paths[PLANISH_ALBUM_TRACKS])
{
  for (size_t n = 0; n < stream->count; ++n) {
    paths[n] = plan->album->tracks[stream->first + n].mix;
  }
}

static bool measure(PlanishReader *mix, PlanishMeasurement *result, PlanishError *error)
{
  float block[2 * BLOCK];
  PlanishMeasure *measure = planish_measure_new(planish_reader_rate(mix), 2);
  bool done = measure != NULL ? true : planish_fail_memory(error);
  size_t got = 1;
  uint64_t at = 0;
  while (done && got > 0) {
    done = planish_interrupt_check(error) && planish_reader_read(mix, block, BLOCK, &got, error);
    if (done) {
      planish_measure_process(measure, block, got);
      at += got;
      planish_workers_tell((double)at / (double)planish_reader_frames(mix));
    }
  }
  if (done) {
    planish_measure_finish(measure, result);
  }
  planish_measure_free(measure);
  return done;
}

static bool look_at_mix(const PlanishAlbumPlan *plan, size_t track, PlanishAlbumMix *found,
                        PlanishError *error)
{
  const char *path = plan->album->tracks[track].mix;
  const PlanishSheet *sheet = plan->streams[stream_of(plan, track)].sheet;
  PlanishReader *mix = planish_mix_open(path, sheet, false, error);
  bool done = mix != NULL && measure(mix, &found->measured, error);
  if (done && planish_reader_is_cut(mix)) {
    done = planish_fail(error, PLANISH_BAD_AUDIO,
                        "cut short, the header promises more audio: %s: copy or export it again",
                        path);
  }
  planish_reader_free(mix);
  return done && planish_sound_digest(path, false, &found->digest, error);
}

/* Its mixes as one. */
static bool look_at_stream(const PlanishAlbumPlan *plan, const PlanishAlbumStream *stream,
                           PlanishAlbumMix *found, PlanishError *error)
{
  const char *paths[PLANISH_ALBUM_TRACKS];
  planish_album_mixes(plan, stream, paths);
  PlanishReader *mix = planish_mix_open_joined(paths, stream->count, stream->sheet, error);
  const bool done = mix != NULL && measure(mix, &found->measured, error);
  planish_reader_free(mix);
  return done && planish_sound_digest_stream(paths, stream->count, found->digest.samples, error);
}

/* A piece of work: a mix, or, after those, a stream. */
static bool look(void *user, size_t piece, void *result, PlanishError *error)
{
  const PlanishAlbumPlan *plan = user;
  const size_t count = plan->album->count;
  if (piece < count) {
    return look_at_mix(plan, piece, result, error);
  }
  const PlanishAlbumStream *stream = &plan->streams[piece - count];
  return stream->count == 1 || look_at_stream(plan, stream, result, error);
}

static bool look_at_all(PlanishAlbumPlan *plan, const PlanishAlbumJob *job, PlanishError *error)
{
  const size_t count = plan->album->count;
  PlanishAlbumMix *found = calloc(count + plan->stream_count, sizeof *found);
  const PlanishWorkersJob work = {.pieces = count + plan->stream_count,
                                  .cores = job->cores,
                                  .work = look,
                                  .user = plan,
                                  .results = found,
                                  .result_bytes = sizeof *found,
                                  .told = job->told,
                                  .told_user = job->told_user};
  if (found == NULL) {
    return planish_fail_memory(error);
  }
  const bool done = planish_workers_run(&work, error);
  for (size_t n = 0; done && n < count; ++n) {
    plan->tracks[n].mix = found[n];
  }
  for (size_t n = 0; done && n < plan->stream_count; ++n) {
    PlanishAlbumStream *stream = &plan->streams[n];
    stream->mix = stream->count > 1 ? found[count + n] : found[stream->first];
  }
  free(found);
  return done;
}

/* Those that are left out keep the differences between the mixes. */
static bool find_offsets(PlanishAlbumPlan *plan, PlanishError *error)
{
  double loudest = -HUGE_VAL;
  for (size_t n = 0; n < plan->stream_count; ++n) {
    const PlanishAlbumStream *stream = &plan->streams[n];
    if (!plan->album->tracks[stream->first].has_offset) {
      loudest = fmax(loudest, stream->mix.measured.integrated);
    }
  }
  plan->loudness = plan->streams[0].sheet->loudness;
  for (size_t n = 0; n < plan->stream_count; ++n) {
    const PlanishAlbumStream *stream = &plan->streams[n];
    const PlanishAlbumTrack *track = &plan->album->tracks[stream->first];
    const double offset =
        track->has_offset ? track->offset : stream->mix.measured.integrated - loudest;
    if (!isfinite(stream->mix.measured.integrated)) {
      return planish_fail(error, PLANISH_BAD_AUDIO,
                          "silent, or shorter than 0.4 s: it has no loudness to be landed: %s: "
                          "check the export",
                          track->mix);
    }
    for (size_t k = 0; k < stream->count; ++k) {
      plan->tracks[stream->first + k].offset = offset;
    }
    if (!planish_sheet_set_loudness(stream->sheet, plan->loudness + offset, error)) {
      return false;
    }
  }
  return true;
}

static uint64_t to_sector(const PlanishAlbumPlan *plan, uint64_t frame)
{
  return plan->album->cd ? (frame + PLANISH_SECTOR / 2) / PLANISH_SECTOR * PLANISH_SECTOR : frame;
}

/* Where the tracks of a stream begin and end, and what silence comes after it. */
static void plan_stream(PlanishAlbumPlan *plan, PlanishAlbumStream *stream)
{
  const size_t next = stream->first + stream->count;
  PlanishSheet *sheet = stream->sheet;
  uint64_t at = planish_sheet_frames(sheet->head_silence, plan->rate);
  for (size_t n = stream->first; n < next; ++n) {
    PlanishAlbumPlanTrack *track = &plan->tracks[n];
    track->from = n == stream->first ? 0 : to_sector(plan, at);
    track->moved = n > stream->first && track->from != at;
    at += track->mix.measured.frames;
  }
  const uint64_t sound = at + planish_sheet_frames(sheet->tail, plan->rate);
  uint64_t silence = planish_sheet_frames(sheet->tail_silence, plan->rate);
  if (next < plan->album->count) {
    silence += planish_sheet_frames(plan->album->tracks[next].gap, plan->rate);
  }
  const uint64_t over = plan->album->cd ? (sound + silence) % PLANISH_SECTOR : 0;
  silence += over > 0 ? PLANISH_SECTOR - over : 0;
  sheet->tail_silence = (PlanishSheetTime){.value = (double)silence, .in_frames = true};
  stream->frames = sound + silence;
  plan->tracks[next - 1].silence = silence;
  for (size_t n = stream->first; n < next; ++n) {
    PlanishAlbumPlanTrack *track = &plan->tracks[n];
    track->frames = (n + 1 < next ? track[1].from : stream->frames) - track->from;
  }
}

/* Told ahead, and of which track: a render would tell it late. */
static bool check_fades(const PlanishAlbumPlan *plan, const PlanishAlbumStream *stream,
                        PlanishError *error)
{
  PlanishFades fades;
  PlanishError found = {0};
  const PlanishMetadata *metadata = &plan->album->tracks[stream->first].metadata;
  return planish_fades_new(&fades, stream->sheet, plan->rate, stream->mix.measured.frames,
                           &found) ||
         planish_fail(error, found.outcome, "track %s: %s", metadata->text[PLANISH_METADATA_TRACK],
                      found.text);
}

static bool find_path(PlanishAlbumPlan *plan, size_t n, PlanishError *error)
{
  PlanishAlbumPlanTrack *track = &plan->tracks[n];
  const PlanishMetadata *metadata = &track->track->metadata;
  const char *pattern = plan->album->pattern != NULL                     ? plan->album->pattern
                        : metadata->text[PLANISH_METADATA_TITLE] != NULL ? "{track} {title}"
                                                                         : "{track} {master}";
  char *stem = planish_file_name_stem(track->track->mix);
  PlanishError own = {0};
  char *name =
      stem == NULL ? NULL : planish_file_name_new(pattern, stem, "", metadata, ".wav", &own);
  track->path = name == NULL ? NULL : planish_text_new("%s/%s", plan->folder, name);
  free(name);
  free(stem);
  if (track->path == NULL) {
    return own.outcome == PLANISH_DONE
               ? planish_fail_memory(error)
               : planish_fail(error, own.outcome, "track %s: %s",
                              metadata->text[PLANISH_METADATA_TRACK], own.text);
  }
  for (size_t i = 0; i < n; ++i) {
    if (planish_place_same(plan->tracks[i].path, track->path)) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "two tracks of one name: %s: give \"name:\" in the album a pattern with "
                          "{track}",
                          track->path);
    }
  }
  for (size_t i = 0; i < plan->album->count; ++i) {
    if (planish_place_same(plan->album->tracks[i].mix, track->path)) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "would be written over a mix: %s: give another folder", track->path);
    }
  }
  return planish_place_check(track->path, error);
}

/* All that a stream's masters hang on. */
static bool find_origin(const PlanishAlbumPlan *plan, PlanishAlbumStream *stream,
                        PlanishError *error)
{
  char settings[PLANISH_DIGEST_TEXT];
  char *text = NULL;
  size_t size = 0;
  if (!planish_recall_settings(stream->sheet, settings, error)) {
    return false;
  }
  FILE *out = open_memstream(&text, &size);
  if (out == NULL) {
    return planish_fail_memory(error);
  }
  planish_text_print(out, "%s\n%s\n%.17g\n", plan->program, settings, plan->rate);
  for (size_t n = 0; n < stream->count; ++n) {
    const PlanishAlbumPlanTrack *track = &plan->tracks[stream->first + n];
    planish_text_print(out, "%s %llu %llu\n", track->mix.digest.samples,
                       (unsigned long long)track->from, (unsigned long long)track->frames);
  }
  const bool done = fclose(out) == 0 || planish_fail_memory(error);
  if (done) {
    planish_text_digest(text, size, stream->origin);
  }
  free(text);
  return done;
}

static bool is_there(const char *path)
{
  struct stat facts;
  return stat(path, &facts) == 0;
}

/* Whether a master is there that was made from the same, by its recall file, and is as it was
 * written. */
static bool is_made(const char *path, const char *origin, PlanishHost *host)
{
  PlanishMistakes mistakes = {0};
  PlanishError unread = {0};
  PlanishSoundDigest digest;
  char *file = planish_recall_file_path(path);
  PlanishSheet *sheet =
      file == NULL || !is_there(path) ? NULL : planish_sheet_read(file, host, true, &mistakes);
  const PlanishRecallNote *note = sheet == NULL ? NULL : sheet->recall;
  const bool made = note != NULL && note->origin != NULL && strcmp(note->origin, origin) == 0 &&
                    planish_sound_digest(path, false, &digest, &unread) &&
                    strcmp(note->master.file, digest.file) == 0;
  planish_sheet_free(sheet);
  planish_mistakes_free(&mistakes);
  free(file);
  return made;
}

static bool check_there(const PlanishAlbumPlan *plan, PlanishAlbumStream *stream,
                        const PlanishAlbumJob *job, PlanishError *error)
{
  const PlanishAlbumPlanTrack *tracks = &plan->tracks[stream->first];
  const char *const none[] = {NULL};
  stream->kept = true;
  for (size_t n = 0; stream->kept && n < stream->count; ++n) {
    stream->kept = is_made(tracks[n].path, stream->origin, job->host);
  }
  for (size_t n = 0; !stream->kept && n < stream->count; ++n) {
    if (is_there(tracks[n].path) && !job->force &&
        !is_made(tracks[n].path, stream->origin, job->host)) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "is there already, and was made from something else: %s: pass --force to "
                          "write over it, or give another folder",
                          tracks[n].path);
    }
    if (!planish_recall_file_check(tracks[n].path, none, error)) {
      return false;
    }
  }
  return true;
}

static bool plan_all(PlanishAlbumPlan *plan, const PlanishAlbumJob *job, PlanishError *error)
{
  bool done = find_rate(plan, error);
  if (done) {
    find_streams(plan);
  }
  for (size_t n = 0; done && n < plan->album->count; ++n) {
    done = find_path(plan, n, error);
  }
  done = done && look_at_all(plan, job, error) && find_offsets(plan, error);
  for (size_t n = 0; done && n < plan->stream_count; ++n) {
    PlanishAlbumStream *stream = &plan->streams[n];
    plan_stream(plan, stream);
    done = check_fades(plan, stream, error) && find_origin(plan, stream, error) &&
           check_there(plan, stream, job, error);
  }
  return done;
}

PlanishAlbumPlan *planish_album_plan_new(const PlanishAlbumJob *job, PlanishError *error)
{
  PlanishAlbumPlan *plan = calloc(1, sizeof *plan);
  if (plan == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  plan->album = job->album;
  plan->folder = job->folder;
  plan->program = job->program;
  plan->tracks = calloc(job->album->count, sizeof *plan->tracks);
  plan->streams = calloc(job->album->count, sizeof *plan->streams);
  if (plan->tracks == NULL || plan->streams == NULL) {
    planish_fail_memory(error);
    planish_album_plan_free(plan);
    return NULL;
  }
  if (!plan_all(plan, job, error)) {
    planish_album_plan_free(plan);
    return NULL;
  }
  return plan;
}

void planish_album_plan_free(PlanishAlbumPlan *plan)
{
  if (plan == NULL) {
    return;
  }
  for (size_t n = 0; plan->tracks != NULL && n < plan->album->count; ++n) {
    free(plan->tracks[n].path);
  }
  free(plan->tracks);
  free(plan->streams);
  free(plan);
}
