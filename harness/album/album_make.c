#include "harness/album/album_make.h"

#include "harness/album/album_cut.h"
#include "harness/base/interrupt.h"
#include "harness/base/workers.h"
#include "harness/recall/recall_file.h"
#include "harness/render/mastering.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096 };

/* Renders that a landing takes as a rule, for telling how much is done. */
static const double usual_renders = 3.0;

/* What a piece of work sends back. Plain bytes. */
typedef struct {
  PlanishAlbumStreamResult stream;
  PlanishMeasurement tracks[PLANISH_ALBUM_TRACKS];
} Piece;

typedef struct {
  const PlanishAlbumPlan *plan;
  size_t *order; /* of streams: the longest first, so that none is left alone at the end */
} Work;

static void tell(void *user, const char *what, unsigned number, double share)
{
  const double done = number > 0 ? ((double)number - 1.0 + share) / (usual_renders + 1.0) : 0.0;
  (void)user;
  (void)what;
  if (number > 0) {
    planish_workers_tell(done < 0.95 ? done : 0.95);
  }
}

static bool measure_files(const char *const *paths, size_t count, PlanishMeasurement *result,
                          PlanishError *error)
{
  float block[2 * BLOCK];
  PlanishReader *reader = planish_reader_open_joined(paths, count, NULL, error);
  PlanishMeasure *measure =
      reader == NULL ? NULL : planish_measure_new(planish_reader_rate(reader), 2);
  bool done = measure != NULL || (reader != NULL && planish_fail_memory(error));
  size_t got = 1;
  while (done && got > 0) {
    done = planish_interrupt_check(error) && planish_reader_read(reader, block, BLOCK, &got, error);
    if (done) {
      planish_measure_process(measure, block, got);
    }
  }
  if (done) {
    planish_measure_finish(measure, result);
  }
  planish_measure_free(measure);
  planish_reader_free(reader);
  return done;
}

static bool measure_kept(const PlanishAlbumPlan *plan, const PlanishAlbumStream *stream,
                         Piece *piece, PlanishError *error)
{
  bool done = true;
  piece->stream = (PlanishAlbumStreamResult){.kept = true, .moved_to = (double)NAN};
  piece->stream.loudness = (double)NAN;
  for (size_t n = 0; done && n < stream->count; ++n) {
    const char *path = plan->tracks[stream->first + n].path;
    done = measure_files(&path, 1, &piece->tracks[n], error);
  }
  if (stream->count == 1) {
    piece->stream.loudness = piece->tracks[0].integrated;
  }
  return done;
}

static void note_result(const PlanishMasterJob *job, const PlanishMasterReport *report,
                        PlanishAlbumStreamResult *result)
{
  const PlanishPrice *price = &report->price;
  *result = (PlanishAlbumStreamResult){
      .renders = report->landing.renders,
      .moved_to = report->landing.best.control,
      .has_drive = report->has_drive,
      .extra_drive = report->extra_drive,
      .has_audible = price->has_distortion && price->distortion.status == PLANISH_DISTORTION_DONE,
      .audible = price->distortion.audible,
      .lowered = report->landing.best.lowering,
      .loudness = report->result.integrated,
  };
  if (report->landing.state != PLANISH_LANDED) {
    planish_master_reason(job, report, result->reason, sizeof result->reason);
  }
}

static bool make_one(const PlanishAlbumPlan *plan, const PlanishAlbumStream *stream,
                     const PlanishMasterJob *job, Piece *piece, PlanishError *error)
{
  const PlanishAlbumPlanTrack *track = &plan->tracks[stream->first];
  PlanishRecallFile recall = {
      .program = plan->program, .mix = track->mix.digest, .origin = stream->origin};
  PlanishMasterReport report;
  PlanishMasterJob own = *job;
  own.made = planish_recall_file_write;
  own.made_user = &recall;
  const bool done = planish_master(&own, &report, error);
  if (done) {
    piece->tracks[0] = report.result;
    note_result(&own, &report, &piece->stream);
  }
  planish_master_report_free(&report);
  return done;
}

/* Lands the stream under the first track's name, which it never takes, and cuts it. */
static bool make_several(const PlanishAlbumPlan *plan, const PlanishAlbumStream *stream,
                         const PlanishMasterJob *job, Piece *piece, PlanishError *error)
{
  PlanishAlbumCut cut = {.plan = plan, .stream = stream, .tracks = piece->tracks};
  PlanishMasterReport report = {0};
  PlanishMasterJob own = *job;
  own.made = planish_album_cut;
  own.made_user = &cut;
  PlanishMastering *mastering = planish_mastering_new(&own, error);
  const bool done = mastering != NULL &&
                    planish_mastering_land(mastering, own.out, &report, error) &&
                    planish_mastering_price_loudest(mastering, &report, error) &&
                    planish_album_cut_commit(&cut, error);
  if (done) {
    note_result(&own, &report, &piece->stream);
  }
  planish_album_cut_release(&cut);
  planish_mastering_free(mastering);
  planish_master_report_free(&report);
  return done;
}

/* What failed may not say where. */
static bool fail_of_track(const PlanishAlbumPlan *plan, const PlanishAlbumStream *stream,
                          PlanishError *error)
{
  const PlanishMetadata *metadata = &plan->tracks[stream->first].track->metadata;
  const PlanishError own = *error;
  planish_error_clear(error);
  return own.outcome == PLANISH_INTERRUPTED
             ? planish_fail(error, own.outcome, "%s", own.text)
             : planish_fail(error, own.outcome, "track %s: %s",
                            metadata->text[PLANISH_METADATA_TRACK], own.text);
}

static bool make_stream(void *user, size_t index, void *result, PlanishError *error)
{
  const Work *work = user;
  const PlanishAlbumPlan *plan = work->plan;
  const PlanishAlbumStream *stream = &plan->streams[work->order[index]];
  const char *paths[PLANISH_ALBUM_TRACKS];
  if (stream->kept) {
    return measure_kept(plan, stream, result, error);
  }
  planish_album_mixes(plan, stream, paths);
  PlanishReader *mix = planish_mix_open_joined(paths, stream->count, stream->sheet, error);
  if (mix == NULL) {
    return false;
  }
  PlanishMasterJob job = {.mix = mix,
                          .sheet = stream->sheet,
                          .out = plan->tracks[stream->first].path,
                          .word = PLANISH_WORD_FLOAT,
                          .price = true,
                          .to = planish_reader_frames(mix),
                          .told = tell};
  const bool done =
      (stream->count > 1 ? make_several : make_one)(plan, stream, &job, result, error);
  planish_reader_free(mix);
  return done || fail_of_track(plan, stream, error);
}

/* Longest first. */
static void find_order(const PlanishAlbumPlan *plan, size_t *order)
{
  for (size_t n = 0; n < plan->stream_count; ++n) {
    size_t place = n;
    while (place > 0 && plan->streams[order[place - 1]].frames < plan->streams[n].frames) {
      order[place] = order[place - 1];
      place -= 1;
    }
    order[place] = n;
  }
}

static void collect(const PlanishAlbumPlan *plan, const size_t *order, const Piece *pieces,
                    const bool *done, PlanishAlbumResult *result)
{
  for (size_t n = 0; n < plan->stream_count; ++n) {
    const PlanishAlbumStream *stream = &plan->streams[order[n]];
    result->made[order[n]] = done[n];
    result->streams[order[n]] = pieces[n].stream;
    memcpy(&result->tracks[stream->first], pieces[n].tracks,
           stream->count * sizeof *pieces[n].tracks);
  }
}

/* What is allocated for it; NULL where memory lacks. */
typedef struct {
  Piece *pieces;
  size_t *order;
  bool *made;
} Room;

static bool run_in(const Room *room, const PlanishAlbumPlan *plan, const PlanishAlbumJob *job,
                   PlanishAlbumResult *result, PlanishError *error)
{
  Work work = {.plan = plan, .order = room->order};
  find_order(plan, work.order);
  const PlanishWorkersJob workers = {.pieces = plan->stream_count,
                                     .cores = job->cores,
                                     .work = make_stream,
                                     .user = &work,
                                     .results = room->pieces,
                                     .result_bytes = sizeof *room->pieces,
                                     .done = room->made,
                                     .told = job->told,
                                     .told_user = job->told_user};
  const bool done = planish_workers_run(&workers, error);
  collect(plan, work.order, room->pieces, room->made, result);
  return done;
}

static bool run(const PlanishAlbumPlan *plan, const PlanishAlbumJob *job,
                PlanishAlbumResult *result, PlanishError *error)
{
  const size_t count = plan->stream_count;
  const Room room = {.pieces = calloc(count, sizeof *room.pieces),
                     .order = calloc(count, sizeof *room.order),
                     .made = calloc(count, sizeof *room.made)};
  bool done = false;
  if (room.pieces != NULL && room.order != NULL && room.made != NULL) {
    done = run_in(&room, plan, job, result, error);
  } else {
    planish_fail_memory(error);
  }
  free(room.made);
  free(room.order);
  free(room.pieces);
  return done;
}

static bool measure_album(const PlanishAlbumPlan *plan, PlanishAlbumResult *result,
                          PlanishError *error)
{
  const char *paths[PLANISH_ALBUM_TRACKS];
  for (size_t n = 0; n < plan->album->count; ++n) {
    paths[n] = plan->tracks[n].path;
  }
  result->has_album = measure_files(paths, plan->album->count, &result->album, error);
  return result->has_album;
}

bool planish_album_make(const PlanishAlbumPlan *plan, const PlanishAlbumJob *job,
                        PlanishAlbumResult *result, PlanishError *error)
{
  *result = (PlanishAlbumResult){
      .streams = calloc(plan->stream_count, sizeof *result->streams),
      .made = calloc(plan->stream_count, sizeof *result->made),
      .tracks = calloc(plan->album->count, sizeof *result->tracks),
  };
  return result->streams != NULL && result->made != NULL && result->tracks != NULL
             ? run(plan, job, result, error) && measure_album(plan, result, error)
             : planish_fail_memory(error);
}

void planish_album_result_free(PlanishAlbumResult *result)
{
  free(result->streams);
  free(result->made);
  free(result->tracks);
  *result = (PlanishAlbumResult){0};
}
