#include "harness/album/album_cut.h"

#include "harness/base/interrupt.h"
#include "harness/recall/recall_file.h"

enum { BLOCK = 4096 };

static void measure_written(void *user, const float *interleaved, size_t frames)
{
  planish_measure_process(user, interleaved, frames);
}

static bool copy(PlanishReader *stream, PlanishWriter *writer, uint64_t frames, PlanishError *error)
{
  float block[2 * BLOCK];
  bool done = true;
  while (done && frames > 0) {
    size_t got = 0;
    done =
        planish_interrupt_check(error) &&
        planish_reader_read(stream, block, frames < BLOCK ? (size_t)frames : BLOCK, &got, error) &&
        planish_writer_write(writer, block, got, error);
    frames -= got;
  }
  return done && planish_writer_finish(writer, error);
}

static bool cut_track(PlanishAlbumCut *cut, size_t n, PlanishReader *stream, PlanishError *error)
{
  const PlanishAlbumPlan *plan = cut->plan;
  const PlanishAlbumPlanTrack *track = &plan->tracks[cut->stream->first + n];
  PlanishMeasure *measure = planish_measure_new(plan->rate, 2);
  if (measure == NULL) {
    return planish_fail_memory(error);
  }
  cut->writers[n] = planish_writer_new(track->path, plan->rate, track->frames, PLANISH_WORD_FLOAT,
                                       measure_written, measure, error);
  const bool done = cut->writers[n] != NULL && planish_reader_seek(stream, track->from, error) &&
                    copy(stream, cut->writers[n], track->frames, error);
  if (done) {
    planish_measure_finish(measure, &cut->tracks[n]);
  }
  planish_measure_free(measure);
  return done;
}

/* The recall file of a part: the stream's settings, and where the part stands in it. */
static bool write_recall(const PlanishAlbumCut *cut, size_t n, const PlanishMade *made,
                         PlanishError *error)
{
  const PlanishAlbumPlanTrack *track = &cut->plan->tracks[cut->stream->first + n];
  const char *paths[PLANISH_ALBUM_TRACKS];
  planish_album_mixes(cut->plan, cut->stream, paths);
  PlanishRecallFile recall = {
      .program = cut->plan->program,
      .mix = track->mix.digest,
      .origin = cut->stream->origin,
      .mix_path = track->track->mix,
      .stream_mixes = paths,
      .stream_count = cut->stream->count,
      .stream_samples = cut->stream->mix.digest.samples,
      .stream_from = track->from,
  };
  PlanishMasterReport report = *made->report;
  report.mix = track->mix.measured;
  report.result = cut->tracks[n];
  const PlanishMade part = {
      .job = made->job, .report = &report, .out = track->path, .writer = cut->writers[n]};
  return planish_recall_file_write(&recall, &part, error);
}

bool planish_album_cut(void *user, const PlanishMade *made, PlanishError *error)
{
  PlanishAlbumCut *cut = user;
  PlanishReader *stream = planish_reader_open(planish_writer_temporary(made->writer), NULL, error);
  bool done = stream != NULL;
  for (size_t n = 0; done && n < cut->stream->count; ++n) {
    done = cut_track(cut, n, stream, error) && write_recall(cut, n, made, error);
  }
  planish_reader_free(stream);
  return done;
}

bool planish_album_cut_commit(PlanishAlbumCut *cut, PlanishError *error)
{
  bool done = planish_interrupt_check(error);
  for (size_t n = 0; done && n < cut->stream->count; ++n) {
    done = planish_writer_sync(cut->writers[n], error);
  }
  for (size_t n = 0; done && n < cut->stream->count; ++n) {
    done = planish_writer_commit(cut->writers[n], error);
  }
  return done;
}

void planish_album_cut_release(PlanishAlbumCut *cut)
{
  for (size_t n = 0; n < cut->stream->count; ++n) {
    planish_writer_free(cut->writers[n]);
    cut->writers[n] = NULL;
  }
}
