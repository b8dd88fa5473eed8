#include "harness/deliver/rerender.h"

#include "harness/base/text.h"
#include "harness/recall/recall.h"
#include "harness/recall/recall_file.h"
#include "harness/render/mastering.h"
#include "harness/sheet/sheet_less.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* What is opened for it. */
typedef struct {
  const PlanishRerenderJob *job;
  char *file; /* the recall file */
  PlanishSheet *sheet;
  char **mixes;
  size_t mix_count;
  PlanishReader *mix;
  uint32_t limiter;     /* stage */
  bool *ahead_alone;    /* by stage: not ahead of it, */
  bool *rest_alone;     /* ... and ahead of it: left out of either render */
  PlanishWriter *ahead; /* what comes to it */
} Work;

bool planish_rerender_check(const char *master, PlanishError *error)
{
  char *file = planish_recall_file_path(master);
  const bool there = file != NULL && access(file, F_OK) == 0;
  if (file == NULL) {
    return planish_fail_memory(error);
  }
  if (!there) {
    planish_fail(error, PLANISH_BAD_USE,
                 "no recall file, by which it could be rendered again: %s: render it without "
                 "--no-recall, or write \"over: lower\" in the spec",
                 file);
  }
  free(file);
  return there;
}

static bool open_sheet(Work *work, PlanishError *error)
{
  PlanishMistakes mistakes = {0};
  work->file = planish_recall_file_path(work->job->master);
  if (work->file == NULL) {
    planish_fail_memory(error);
    return false;
  }
  work->sheet = planish_sheet_read(work->file, work->job->host, false, &mistakes);
  const bool is_recall = work->sheet != NULL && work->sheet->recall != NULL;
  if (work->sheet == NULL) {
    planish_fail(error, mistakes.list[0].outcome, "%s: %d:%d: %s", work->file,
                 mistakes.list[0].line, mistakes.list[0].column, mistakes.list[0].text);
  } else if (!is_recall) {
    planish_fail(error, PLANISH_BAD_USE, "a sheet, but no recall file: %s: render the master again",
                 work->file);
  }
  planish_mistakes_free(&mistakes);
  return is_recall;
}

/* Whether master and mixes are what the file tells of. */
static bool check_sounds(const Work *work, PlanishError *error)
{
  const PlanishRecallNote *note = work->sheet->recall;
  PlanishSoundDigest digest;
  char samples[PLANISH_DIGEST_TEXT];
  if (!planish_sound_digest(work->job->master, false, &digest, error)) {
    return false;
  }
  if (planish_sound_match(&note->master, &digest) == PLANISH_SOUND_CHANGED) {
    return planish_fail(error, PLANISH_BAD_AUDIO,
                        "not the master that %s tells of: %s: render it again", work->file,
                        work->job->master);
  }
  if (note->stream_count > 0) {
    if (!planish_sound_digest_stream((const char *const *)work->mixes, work->mix_count, samples,
                                     error)) {
      return false;
    }
  } else if (planish_sound_digest(work->mixes[0], note->mix.silence_bad, &digest, error)) {
    memcpy(samples, digest.samples, sizeof samples);
  } else {
    return false;
  }
  const char *noted = note->stream_count > 0 ? note->stream_samples : note->mix.samples;
  return strcmp(samples, noted) == 0 ||
         planish_fail(error, PLANISH_BAD_AUDIO,
                      "the mix has changed since the master was made: %s: render it again",
                      work->mixes[0]);
}

static bool open_mix(Work *work, PlanishError *error)
{
  const PlanishRecallNote *note = work->sheet->recall;
  work->mixes = planish_recall_find_mixes(note, work->file, &work->mix_count, error);
  if (work->mixes == NULL || !check_sounds(work, error)) {
    return false;
  }
  work->mix = note->stream_count > 0
                  ? planish_mix_open_joined((const char *const *)work->mixes, work->mix_count,
                                            work->sheet, error)
                  : planish_mix_open(work->mixes[0], work->sheet, note->mix.silence_bad, error);
  return work->mix != NULL;
}

static bool find_limiter(Work *work, PlanishError *error)
{
  const PlanishSheet *sheet = work->sheet;
  uint32_t n = planish_sheet_next(sheet, 0, 0);
  while (n < sheet->stage_count && !sheet->stages[n].plugin->is_limiter) {
    n = planish_sheet_next(sheet, n + 1, 0);
  }
  if (n >= sheet->stage_count) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "no limiter in the chain, from which it could be rendered again: %s: write "
                        "\"over: lower\" in the spec",
                        work->file);
  }
  work->limiter = n;
  work->ahead_alone = calloc(sheet->stage_count, sizeof *work->ahead_alone);
  work->rest_alone = calloc(sheet->stage_count, sizeof *work->rest_alone);
  if (work->ahead_alone == NULL || work->rest_alone == NULL) {
    return planish_fail_memory(error);
  }
  for (uint32_t stage = 0; stage < sheet->stage_count; ++stage) {
    work->ahead_alone[stage] = stage >= n;
    work->rest_alone[stage] = stage < n;
  }
  return true;
}

static void told(void *user, double share)
{
  const Work *work = user;
  if (work->job->tell != NULL) {
    work->job->tell(work->job->user, "rendering again", 0, share / 2.0);
  }
}

static void told_rest(void *user, const char *what, unsigned number, double share)
{
  const Work *work = user;
  (void)what;
  if (work->job->tell != NULL && number > 0) {
    work->job->tell(work->job->user, "rendering again", 0, 0.5 + share / 2.0);
  }
}

static bool write_ahead(void *user, const float *interleaved, size_t frames, PlanishError *error)
{
  return planish_writer_write(user, interleaved, frames, error);
}

/* What comes to the first limiter, as a file. */
static bool render_ahead(Work *work, PlanishError *error)
{
  const PlanishSheet *sheet = work->sheet;
  PlanishTap *sound = calloc((size_t)sheet->stage_count + 1, sizeof *sound);
  if (sound == NULL) {
    return planish_fail_memory(error);
  }
  const PlanishTaps taps = {.sound = sound};
  const PlanishRenderJob job = {
      .mix = work->mix,
      .sheet = sheet,
      .input_gain = sheet->input == PLANISH_INPUT_GAIN ? sheet->input_value : 0.0,
      .to = planish_reader_frames(work->mix),
      .taps = &taps,
      .without = work->ahead_alone,
      .told = told,
      .told_user = work,
  };
  work->ahead =
      planish_writer_new(work->job->beside, planish_reader_rate(work->mix),
                         planish_render_tapped_frames(&job), PLANISH_WORD_FLOAT, NULL, NULL, error);
  sound[work->limiter] = (PlanishTap){write_ahead, work->ahead};
  const bool done = work->ahead != NULL && planish_render(&job, NULL, NULL, NULL, NULL, error) &&
                    planish_writer_finish(work->ahead, error);
  free(sound);
  return done;
}

static void in_seconds(PlanishSheetTime *time, double rate)
{
  if (time->in_frames) {
    *time = (PlanishSheetTime){.value = time->value / rate};
  }
}

/* Times in frames are of the mix's rate. */
static void take_times(PlanishSheet *rest, double rate)
{
  in_seconds(&rest->head_silence, rate);
  in_seconds(&rest->fade_in.length, rate);
  in_seconds(&rest->fade_out.length, rate);
  in_seconds(&rest->tail_silence, rate);
  for (uint32_t n = 0; n < rest->automation_count; ++n) {
    for (uint32_t k = 0; k < rest->automation[n].count; ++k) {
      in_seconds(&rest->automation[n].points[k].at, rate);
    }
  }
}

static bool is_noted(const PlanishRecallNote *note, const PlanishSheetStage *stage,
                     const char *symbol)
{
  char name[160];
  planish_text_format(name, sizeof name, "%s.%s", stage->name, symbol);
  bool found = false;
  for (size_t n = 0; !found && n < note->ceiling_count; ++n) {
    found = strcmp(note->ceiling_at[n], name) == 0;
  }
  return found;
}

/* The controls that give way: as noted, else all that are called ceiling. */
static bool find_ceilings(PlanishSheet *rest, PlanishError *error)
{
  const PlanishRecallNote *note = rest->recall;
  rest->ceiling_at =
      calloc((size_t)rest->stage_count + note->ceiling_count + 1, sizeof *rest->ceiling_at);
  if (rest->ceiling_at == NULL) {
    return planish_fail_memory(error);
  }
  for (uint32_t n = 0; n < rest->stage_count; ++n) {
    const PlanishPlugin *plugin = rest->stages[n].plugin;
    for (uint32_t port = 0; port < plugin->port_count; ++port) {
      const char *symbol = plugin->ports[port].symbol;
      const bool taken = note->ceiling_count > 0 ? is_noted(note, &rest->stages[n], symbol)
                                                 : strcmp(symbol, "ceiling") == 0;
      if (taken && plugin->ports[port].kind == PLANISH_PLUGIN_CONTROL_INPUT &&
          rest->ceiling_count < rest->stage_count + note->ceiling_count) {
        rest->ceiling_at[rest->ceiling_count++] = (PlanishControl){.stage = n, .port = port};
      }
    }
  }
  return true;
}

/* The limiter and what comes after it, at the new rate. */
static bool make_rest(Work *work, PlanishSheet *rest, PlanishError *error)
{
  if (!planish_sheet_less(rest, work->sheet, work->rest_alone)) {
    return planish_fail_memory(error);
  }
  take_times(rest, planish_reader_rate(work->mix));
  rest->mending = (PlanishMending){0};
  rest->input = PLANISH_INPUT_AS_IT_IS;
  rest->rate = work->job->rate;
  rest->has_preroll = false;
  rest->tail = (PlanishSheetTime){0}; /* is in it already */
  rest->has_ceiling = true;
  rest->ceiling = work->job->ceiling;
  return find_ceilings(rest, error);
}

/* Of a part of a stream, where it stands at the new rate. */
static PlanishSourceRun run_of(const Work *work, const char *const *path)
{
  const PlanishRecallNote *note = work->sheet->recall;
  const double at = note->stream_count > 0 ? note->stream_from : 0.0;
  return (PlanishSourceRun){
      .paths = path,
      .count = 1,
      .own = PLANISH_SOURCE_ALL,
      .named = work->job->master,
      .from = (uint64_t)(at * work->job->rate / note->master.rate + 0.5),
      .frames = work->job->frames,
  };
}

static PlanishSource *render_rest(Work *work, PlanishSheet *rest, PlanishError *error)
{
  PlanishReader *mix = planish_mix_open(planish_writer_temporary(work->ahead), rest, false, error);
  if (mix == NULL) {
    return NULL;
  }
  const PlanishMasterJob job = {.mix = mix,
                                .sheet = rest,
                                .out = work->job->beside,
                                .word = PLANISH_WORD_FLOAT,
                                .to = planish_reader_frames(mix),
                                .told = told_rest,
                                .told_user = work};
  PlanishMasterReport report = {0};
  PlanishSource *source = NULL;
  PlanishMastering *mastering = planish_mastering_new(&job, error);
  if (mastering != NULL && planish_mastering_land(mastering, job.out, &report, error)) {
    const char *path = planish_mastering_temporary(mastering);
    const PlanishSourceRun run = run_of(work, &path);
    source = planish_source_new_of_run(&run, work->job->tell, work->job->user, error);
  }
  planish_master_report_free(&report);
  planish_mastering_free(mastering);
  planish_reader_free(mix);
  return source;
}

static PlanishSource *rerender(Work *work, PlanishError *error)
{
  PlanishSheet rest = {0};
  PlanishSource *source = NULL;
  if (open_sheet(work, error) && open_mix(work, error) && find_limiter(work, error) &&
      render_ahead(work, error) && make_rest(work, &rest, error)) {
    source = render_rest(work, &rest, error);
  }
  /* That of the whole sheet is another's. */
  if (work->sheet == NULL || rest.ceiling_at != work->sheet->ceiling_at) {
    free(rest.ceiling_at);
  }
  planish_sheet_less_release(&rest);
  return source;
}

PlanishSource *planish_rerender(const PlanishRerenderJob *job, char **stage, PlanishError *error)
{
  Work work = {.job = job};
  PlanishSource *source = rerender(&work, error);
  *stage = source == NULL ? NULL : planish_text_copy(work.sheet->stages[work.limiter].name);
  planish_writer_free(work.ahead);
  free(work.ahead_alone);
  free(work.rest_alone);
  planish_reader_free(work.mix);
  for (size_t n = 0; n < work.mix_count; ++n) {
    free(work.mixes[n]);
  }
  free(work.mixes);
  planish_sheet_free(work.sheet);
  free(work.file);
  return source;
}
