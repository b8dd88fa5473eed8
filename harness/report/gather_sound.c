/* The versions: mix, stages, master, references, as tracks that line up. */
#include "harness/report/gathering.h"

#include "harness/base/interrupt.h"

#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096 };

const char *planish_file_name(const char *path)
{
  const char *slash = strrchr(path, '/');
  return slash == NULL ? path : slash + 1;
}

bool planish_gathering_is_part(const PlanishGathering *gathering)
{
  const PlanishMasterJob *job = gathering->job->master;
  return job->from > 0 || job->to < planish_reader_frames(job->mix);
}

static bool add_silence(PlanishTrack *track, uint64_t frames, PlanishError *error)
{
  static const float zeros[2 * BLOCK];
  bool done = true;
  while (done && planish_track_frames(track) < frames) {
    const uint64_t left = frames - planish_track_frames(track);
    done = planish_track_write(track, zeros, left < BLOCK ? (size_t)left : BLOCK, error);
  }
  return done;
}

/* Reads up to `frames` frames into a new track. `measure` may be NULL. */
static PlanishTrack *read_track(const PlanishGathering *gathering, PlanishReader *reader,
                                uint64_t frames, PlanishMeasure *measure, PlanishError *error)
{
  PlanishTrack *track = planish_track_new(gathering->job->master->out, frames, error);
  float block[2 * BLOCK];
  bool done = track != NULL;
  size_t got = 1;
  while (done && got > 0 && planish_track_frames(track) < frames) {
    const uint64_t left = frames - planish_track_frames(track);
    done = planish_interrupt_check(error) &&
           planish_reader_read(reader, block, left < BLOCK ? (size_t)left : BLOCK, &got, error) &&
           planish_track_write(track, block, got, error);
    if (done && measure != NULL) {
      planish_measure_process(measure, block, got);
    }
  }
  if (!done) {
    planish_track_free(track);
    return NULL;
  }
  return track;
}

static bool add_version(PlanishGathering *gathering, const char *name, PlanishVersionKind kind,
                        PlanishTrack *own, PlanishTrack *track, const PlanishMeasurement *measured)
{
  const size_t at = gathering->count++;
  gathering->own[at] = own;
  gathering->versions[at] = (PlanishReportVersion){name, kind, track, measured};
  return track != NULL;
}

/* Of an excerpt the render has measured the whole mix; here it is held against the excerpt. */
static bool add_mix(PlanishGathering *gathering, PlanishError *error)
{
  const PlanishMasterJob *job = gathering->job->master;
  const bool whole = !planish_gathering_is_part(gathering);
  PlanishMeasure *measure = whole ? NULL : planish_measure_new(gathering->job->stages->rate, 2);
  PlanishMeasurement *measured = &gathering->measured[gathering->count];
  if (!whole && measure == NULL) {
    return planish_fail_memory(error);
  }
  *measured = gathering->job->result->mix;
  PlanishTrack *track = planish_reader_seek(job->mix, job->from, error)
                            ? read_track(gathering, job->mix, job->to - job->from, measure, error)
                            : NULL;
  if (measure != NULL) {
    planish_measure_finish(measure, measured);
  }
  planish_measure_free(measure);
  return add_version(gathering, "mix", PLANISH_VERSION_MIX, track, track, measured) &&
         add_silence(track, gathering->frames, error);
}

/* The finished file less the silence ahead of it and after it. */
static bool add_master(PlanishGathering *gathering, PlanishError *error)
{
  PlanishReader *reader = planish_reader_open(gathering->job->master->out, NULL, error);
  PlanishTrack *track = NULL;
  if (reader != NULL) {
    const PlanishMasterJob *job = gathering->job->master;
    const PlanishRenderJob render = {
        .mix = job->mix, .sheet = job->sheet, .from = job->from, .to = job->to};
    track = planish_reader_seek(reader, planish_render_head_frames(&render), error)
                ? read_track(gathering, reader, gathering->frames, NULL, error)
                : NULL;
  }
  planish_reader_free(reader);
  return add_version(gathering, "master", PLANISH_VERSION_MASTER, track, track,
                     &gathering->job->result->result);
}

/* The file's name; the path where another reference is called the same. */
static const char *name_of(const PlanishReportJob *job, const char *path)
{
  const char *name = planish_file_name(path);
  for (size_t n = 0; n < job->reference_count; ++n) {
    const char *other = job->references[n];
    if (strcmp(planish_file_name(other), name) == 0 && strcmp(other, path) != 0) {
      return path;
    }
  }
  return name;
}

static bool add_reference(PlanishGathering *gathering, const char *path, PlanishError *error)
{
  const PlanishReaderOptions options = {.rate = gathering->job->stages->rate};
  PlanishReader *reader = planish_reader_open(path, &options, error);
  PlanishMeasure *measure = reader == NULL ? NULL : planish_measure_new(options.rate, 2);
  PlanishTrack *track = NULL;
  PlanishMeasurement *measured = &gathering->measured[gathering->count];
  if (measure != NULL) {
    track = read_track(gathering, reader, planish_reader_frames(reader), measure, error);
    planish_measure_finish(measure, measured);
  } else if (reader != NULL) {
    planish_fail_memory(error);
  }
  planish_measure_free(measure);
  planish_reader_free(reader);
  return add_version(gathering, name_of(gathering->job, path), PLANISH_VERSION_REFERENCE, track,
                     track, measured);
}

bool planish_gather_sound(PlanishGathering *gathering, PlanishError *error)
{
  const PlanishReportJob *job = gathering->job;
  const uint32_t stages = job->client ? 0 : job->stages->count - 1;
  const size_t most = 2 + stages + job->reference_count;
  gathering->frames = job->stages->frames;
  gathering->versions = calloc(most, sizeof *gathering->versions);
  gathering->own = calloc(most, sizeof(PlanishTrack *));
  gathering->measured = calloc(most, sizeof *gathering->measured);
  if (gathering->versions == NULL || gathering->own == NULL || gathering->measured == NULL) {
    return planish_fail_memory(error);
  }
  bool done = add_mix(gathering, error);
  /* What comes out of the last stage is the master, but for fades and dither. */
  for (uint32_t n = 1; done && n < stages; ++n) {
    done = add_version(gathering, job->master->sheet->stages[job->stages->stages[n - 1]].name,
                       PLANISH_VERSION_STAGE, NULL, job->stages->tracks[n], NULL);
  }
  done = done && add_master(gathering, error);
  for (size_t n = 0; done && n < job->reference_count; ++n) {
    done = add_reference(gathering, job->references[n], error);
  }
  return done;
}
