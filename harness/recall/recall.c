#include "harness/recall/recall.h"

#include "harness/audio/track.h"
#include "harness/base/text.h"
#include "harness/compare/compare.h"
#include "harness/recall/machine.h"
#include "harness/recall/recall_file.h"
#include "harness/render/mastering.h"

#include <libgen.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

/* The name of `path` in the folder of `file`; NULL without memory. */
static char *beside(const char *path, const char *file)
{
  char *folder = planish_text_copy(file);
  char *name = planish_text_copy(path);
  char *both = folder == NULL || name == NULL
                   ? NULL
                   : planish_text_new("%s/%s", dirname(folder), basename(name));
  free(folder);
  free(name);
  return both;
}

/* A noted mix where it is: at its path, else beside the recall file. */
static char *find_mix(const char *path, const char *file, PlanishError *error)
{
  char *other = beside(path, file);
  char *own = planish_text_copy(path);
  if (own == NULL || other == NULL) {
    planish_fail_memory(error);
  } else if (access(own, F_OK) != 0 && access(other, F_OK) != 0) {
    planish_fail(
        error, PLANISH_BAD_FILE,
        "the mix is not there: %s, nor under its name beside the recall file: say where it "
        "is, --mix=FILE",
        own);
  } else if (access(own, F_OK) == 0) {
    free(other);
    return own;
  } else {
    free(own);
    return other;
  }
  free(other);
  free(own);
  return NULL;
}

char *planish_recall_find_mix(const PlanishRecallNote *note, const char *file, PlanishError *error)
{
  return find_mix(note->mix.path, file, error);
}

char **planish_recall_find_mixes(const PlanishRecallNote *note, const char *file, size_t *count,
                                 PlanishError *error)
{
  const size_t wanted = note->stream_count > 0 ? note->stream_count : 1;
  char **mixes = calloc(wanted, sizeof(char *));
  bool done = true;
  *count = 0;
  if (mixes == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  for (size_t n = 0; done && n < wanted; ++n) {
    mixes[n] =
        find_mix(note->stream_count > 0 ? note->stream_mixes[n] : note->mix.path, file, error);
    done = mixes[n] != NULL;
    *count += done;
  }
  for (size_t n = 0; !done && n < *count; ++n) {
    free(mixes[n]);
  }
  if (!done) {
    free(mixes);
    *count = 0;
    mixes = NULL;
  }
  return mixes;
}

char *planish_recall_find_master(const PlanishRecallNote *note, const char *file)
{
  static const char ending[] = ".yaml";
  const size_t length = strlen(file);
  const size_t tail = sizeof ending - 1;
  const bool ends = length > tail && strcasecmp(file + length - tail, ending) == 0;
  char *noted = beside(note->master.path, file);
  char *own = ends ? planish_text_new("%.*s", (int)(length - tail), file) : NULL;
  const bool takes_noted =
      !ends || (own != NULL && noted != NULL && access(own, F_OK) != 0 && access(noted, F_OK) == 0);
  free(takes_noted ? own : noted);
  return takes_noted ? noted : own;
}

bool planish_recall_check_room(const PlanishSheet *sheet, const PlanishReader *mix, const char *out,
                               unsigned files, PlanishError *error)
{
  enum { TRACK_BYTES = 8 }; /* a frame: a track is of floats */
  const double rate = planish_reader_rate(mix);
  const uint64_t frames =
      planish_reader_frames(mix) + planish_sheet_frames(sheet->head_silence, rate) +
      planish_sheet_frames(sheet->tail, rate) + planish_sheet_frames(sheet->tail_silence, rate);
  const unsigned bytes = sheet->recall == NULL || sheet->recall->master.is_float ? 8 : 6;
  PlanishTrack *probe = planish_track_new(out, files * frames * bytes / TRACK_BYTES, error);
  planish_track_free(probe);
  return probe != NULL;
}

static bool add_change(PlanishRecallResult *result, char *what, const char *then, const char *now,
                       PlanishError *error)
{
  PlanishRecallChange *longer =
      realloc(result->changes, (result->change_count + 1) * sizeof *longer);
  char *copies[] = {planish_text_copy(then), planish_text_copy(now)};
  if (longer != NULL) {
    result->changes = longer;
  }
  if (longer == NULL || what == NULL || copies[0] == NULL || copies[1] == NULL) {
    free(what);
    free(copies[0]);
    free(copies[1]);
    return planish_fail_memory(error);
  }
  result->changes[result->change_count++] = (PlanishRecallChange){what, copies[0], copies[1]};
  return true;
}

static bool note_change(PlanishRecallResult *result, const char *what, const char *then,
                        const char *now, PlanishError *error)
{
  return strcmp(then, now) == 0 || add_change(result, planish_text_copy(what), then, now, error);
}

static bool note_stages(const PlanishRecallJob *job, PlanishRecallResult *result,
                        PlanishError *error)
{
  const PlanishSheet *sheet = job->sheet;
  bool done = true;
  for (uint32_t n = 0; done && n < sheet->stage_count; ++n) {
    const PlanishPlugin *plugin = sheet->stages[n].plugin;
    for (size_t k = 0; done && k < sheet->recall->stage_count; ++k) {
      const PlanishRecallStage *stage = &sheet->recall->stages[k];
      const bool same =
          strcmp(stage->name, sheet->stages[n].name) != 0 ||
          (stage->minor == plugin->minor_version && stage->micro == plugin->micro_version);
      char then[64];
      char now[64];
      planish_text_format(then, sizeof then, "version %.0f.%.0f", stage->minor, stage->micro);
      planish_text_format(now, sizeof now, "version %u.%u", plugin->minor_version,
                          plugin->micro_version);
      done = same || add_change(result,
                                planish_text_new("stage %s (%s)", stage->name,
                                                 planish_plugin_short_uri(plugin)),
                                then, now, error);
    }
  }
  return done;
}

static bool find_changes(const PlanishRecallJob *job, PlanishRecallResult *result,
                         PlanishError *error)
{
  const PlanishRecallNote *note = job->sheet->recall;
  char digest[PLANISH_DIGEST_TEXT];
  char machine[200];
  char libraries[200];
  planish_machine(machine, sizeof machine);
  planish_machine_libraries(libraries, sizeof libraries);
  if (!planish_recall_settings(job->sheet, digest, error)) {
    return false;
  }
  result->settings_edited = strcmp(digest, note->settings) != 0;
  return note_change(result, "program", note->program, job->program, error) &&
         note_stages(job, result, error) &&
         note_change(result, "machine", note->machine, machine, error) &&
         note_change(result, "libraries", note->libraries, libraries, error);
}

/* Those of a stream, where there is one. */
static bool find_stream(const PlanishRecallJob *job, PlanishRecallResult *result,
                        PlanishError *error)
{
  const PlanishRecallNote *note = job->sheet->recall;
  char samples[PLANISH_DIGEST_TEXT];
  if (note->stream_count == 0) {
    return true;
  }
  if (job->mix != NULL || job->out != NULL) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "a part of a stream of %zu mixes: %s: leave out --mix and --out, or render "
                        "the album again",
                        note->stream_count, job->file);
  }
  result->stream_mixes = planish_recall_find_mixes(note, job->file, &result->stream_count, error);
  const bool done = result->stream_mixes != NULL &&
                    planish_sound_digest_stream((const char *const *)result->stream_mixes,
                                                result->stream_count, samples, error);
  if (done && strcmp(samples, note->stream_samples) != 0) {
    result->mix = PLANISH_SOUND_CHANGED; /* this one, or another of the stream */
  }
  return done;
}

static bool find_files(const PlanishRecallJob *job, PlanishRecallResult *result,
                       PlanishError *error)
{
  const PlanishRecallNote *note = job->sheet->recall;
  PlanishSoundDigest digest;
  result->mix_path = job->mix != NULL ? planish_text_copy(job->mix)
                                      : planish_recall_find_mix(note, job->file, error);
  result->master_path = planish_recall_find_master(note, job->file);
  if (result->mix_path == NULL || result->master_path == NULL) {
    return error->outcome != PLANISH_DONE ? false : planish_fail_memory(error);
  }
  if (!planish_sound_digest(result->mix_path, note->mix.silence_bad, &digest, error)) {
    return false;
  }
  result->mix = planish_sound_match(&note->mix, &digest);
  if (!find_stream(job, result, error)) {
    return false;
  }
  result->master_there = access(result->master_path, F_OK) == 0;
  if (result->master_there) {
    PlanishError unread = {0};
    result->master_read = planish_sound_digest(result->master_path, false, &digest, &unread);
    result->master =
        result->master_read ? planish_sound_match(&note->master, &digest) : PLANISH_SOUND_CHANGED;
  }
  return true;
}

/* What a render is held against. */
typedef struct {
  const PlanishRecallJob *job;
  PlanishRecallResult *result;
} Proof;

static bool find_difference(PlanishRecallResult *result, const char *rendered, PlanishError *error)
{
  if (result->same || !result->master_there || result->master == PLANISH_SOUND_CHANGED) {
    return true;
  }
  const PlanishCompareSetup setup = {.path = {result->master_path, rendered}, .plain = true};
  PlanishComparison *comparison = calloc(1, sizeof *comparison);
  if (comparison == NULL) {
    return planish_fail_memory(error);
  }
  const bool done = planish_compare(&setup, comparison, error);
  if (done) {
    result->difference = comparison->null_depth;
  }
  free(comparison);
  return done;
}

/* Of a stream only the part is the master. */
static bool prove_part(PlanishRecallResult *result, const PlanishRecallNote *note,
                       const char *rendered, const PlanishSoundDigest *digest, PlanishError *error)
{
  char samples[PLANISH_DIGEST_TEXT];
  if (!planish_sound_digest_part(rendered, (uint64_t)note->stream_from,
                                 (uint64_t)note->master.frames, samples, error)) {
    return false;
  }
  result->rendered = true;
  result->rate = digest->rate;
  result->frames = note->master.frames;
  result->same = strcmp(samples, note->master.samples) == 0 && digest->rate == note->master.rate;
  return true;
}

static bool prove(void *user, const PlanishMade *made, PlanishError *error)
{
  const Proof *proof = user;
  const PlanishRecallSound *noted = &proof->job->sheet->recall->master;
  const char *rendered = planish_writer_temporary(made->writer);
  PlanishSoundDigest digest;
  const PlanishRecallNote *note = proof->job->sheet->recall;
  if (!planish_sound_digest(rendered, false, &digest, error)) {
    return false;
  }
  if (note->stream_count > 0) {
    return prove_part(proof->result, note, rendered, &digest, error);
  }
  proof->result->rendered = true;
  proof->result->rate = digest.rate;
  proof->result->frames = (double)digest.frames;
  proof->result->same = planish_sound_match(noted, &digest) != PLANISH_SOUND_CHANGED;
  return find_difference(proof->result, rendered, error);
}

static bool render_with(const PlanishRecallJob *job, PlanishReader *mix, const char *out,
                        PlanishRecallResult *result, PlanishError *error)
{
  Proof proof = {.job = job, .result = result};
  const PlanishMasterJob master = {
      .mix = mix,
      .sheet = job->sheet,
      .out = out,
      .word = job->sheet->recall->master.is_float ? PLANISH_WORD_FLOAT : PLANISH_WORD_24,
      .to = planish_reader_frames(mix),
      .told = job->told,
      .told_user = job->told_user,
      .made = prove,
      .made_user = &proof,
  };
  PlanishMasterReport report = {0};
  PlanishMastering *mastering = planish_mastering_new(&master, error);
  const bool done = mastering != NULL && planish_mastering_land(mastering, out, &report, error) &&
                    (job->out == NULL || planish_mastering_commit(mastering, error));
  result->result = report.result;
  planish_mastering_free(mastering);
  planish_master_report_free(&report);
  return done;
}

static bool render(const PlanishRecallJob *job, PlanishRecallResult *result, PlanishError *error)
{
  PlanishReader *mix = result->stream_count > 0
                           ? planish_mix_open_joined((const char *const *)result->stream_mixes,
                                                     result->stream_count, job->sheet, error)
                           : planish_mix_open(result->mix_path, job->sheet,
                                              job->sheet->recall->mix.silence_bad, error);
  const char *out = job->out != NULL ? job->out : PLANISH_RECALL_PASSING;
  const bool done = mix != NULL && planish_recall_check_room(job->sheet, mix, out, 1, error) &&
                    render_with(job, mix, out, result, error);
  planish_reader_free(mix);
  return done;
}

bool planish_recall(const PlanishRecallJob *job, PlanishRecallResult *result, PlanishError *error)
{
  *result = (PlanishRecallResult){.difference = (double)NAN};
  if (!find_changes(job, result, error) || !find_files(job, result, error)) {
    return false;
  }
  return (result->mix == PLANISH_SOUND_CHANGED && job->out == NULL) || render(job, result, error);
}

void planish_recall_result_release(PlanishRecallResult *result)
{
  for (size_t n = 0; n < result->change_count; ++n) {
    free(result->changes[n].what);
    free(result->changes[n].then);
    free(result->changes[n].now);
  }
  free(result->changes);
  for (size_t n = 0; n < result->stream_count; ++n) {
    free(result->stream_mixes[n]);
  }
  free(result->stream_mixes);
  free(result->mix_path);
  free(result->master_path);
  *result = (PlanishRecallResult){0};
}
