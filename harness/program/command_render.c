/* planish render: the master that a sheet describes. */
#include "harness/base/standard_streams.h"
#include "harness/base/text.h"
#include "harness/base/workers.h"
#include "harness/program/commands.h"
#include "harness/program/opening.h"
#include "harness/program/options.h"
#include "harness/program/progress.h"
#include "harness/program/render_after.h"
#include "harness/program/render_table.h"
#include "harness/program/several_masters.h"
#include "harness/program/warnings.h"
#include "harness/recall/recall_file.h"
#include "harness/render/master.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const char help[] =
    "Usage: planish render [OPTION]... SHEET MIX OUT\n"
    "Runs MIX through the stages of SHEET, brings it to the sheet's target and writes\n"
    "OUT, a WAV file of the same length, in the place of what stood there once it is whole.\n"
    "MIX - is standard input. OUT - is standard output, written once it is whole; the table\n"
    "goes to standard error then.\n"
    "\n"
    "      --loudness=LUFS    land here instead of at the sheet's target\n"
    "      --ceiling=DBTP     true peak to stay under; sets the controls of ceiling_at\n"
    "      --targets=LUFS,... a master at each of these, OUT with the loudness in its name\n"
    "                         (master.wav: master-9.wav, master-12.wav), and one table of what\n"
    "                         each costs; instead of OUT itself\n"
    "      --variants=NAME,...   the variants that the sheet lists, or all, OUT with the name in\n"
    "                         its name (master.wav: master-vinyl.wav), and the same table;\n"
    "                         instead of OUT itself\n"
    "      --without=NAME     also OUT-without-NAME.wav, the chain as it has landed without this\n"
    "                         stage, and a table of what the stage buys; may be repeated\n"
    "      --set=NAME.SYMBOL=VALUE   a control instead of the sheet's value; may be repeated\n"
    "      --from=TIME        an excerpt: from here (seconds, or 1:23.5)\n"
    "      --to=TIME          up to here; the chain is run in ahead, nothing is landed\n"
    "      --matched=FILE     also writes the master at the mix's loudness, to compare\n"
    "      --float            32-bit float; else, and unless OUT ends in .float.wav, 24 bit\n"
    "                         with dither\n"
    "      --silence-bad      take samples that are no number as silence\n"
    "      --audition         allow listen, listen_band and loudness_match in the sheet\n"
    "      --account          what each stage won in loudness and cost in distortion; takes\n"
    "                         longer, and needs room for the sound between stages\n"
    "      --report=FOLDER    writes FOLDER/OUT.html: verdict, player at matched loudness,\n"
    "                         curves, account; takes longer, and needs the same room\n"
    "      --reference=FILE   another master in the report's player and curves; may be repeated\n"
    "      --client           the report without stages and settings\n"
    "      --no-recall        no recall file; else each master gets OUT.yaml, by which planish\n"
    "                         recall makes it again (an excerpt or one through a pipe has none)\n"
    "      --jobs=N           processors to use; left out, all there are: the same samples\n"
    "      --json             the table for machines\n"
    "      --bundle=FOLDER    the bundle of stages to use\n"
    "      --help\n"
    "\n"
    "Examples:\n"
    "  planish render song.yaml mix.wav master.wav\n"
    "  planish render --report=report song.yaml mix.wav master.wav\n"
    "  planish render --from=1:10 --to=1:40 song.yaml mix.wav try.wav\n"
    "  planish render --targets=-9,-10,-12 song.yaml mix.wav master.wav\n"
    "  planish render --float --variants=all song.yaml mix.wav master.wav\n";

typedef struct {
  const char *sheet;
  const char *mix;
  const char *out;
  const char *matched;
  const char *bundle;
  const char *targets;
  const char *variants;
  PlanishOptionTexts without;
  PlanishOptionTexts set;
  double loudness;
  double ceiling;
  double from;
  double to;
  unsigned jobs;
  bool is_float;
  bool silence_bad;
  bool audition;
  bool no_recall;
  PlanishRenderAfter after;
  bool json;
} Request;

static bool read_request(int argc, char **argv, Request *request, PlanishError *error)
{
  const PlanishOption options[] = {
      {"loudness", PLANISH_OPTION_NUMBER, &request->loudness},
      {"ceiling", PLANISH_OPTION_NUMBER, &request->ceiling},
      {"targets", PLANISH_OPTION_TEXT, &request->targets},
      {"variants", PLANISH_OPTION_TEXT, &request->variants},
      {"without", PLANISH_OPTION_TEXTS, &request->without},
      {"set", PLANISH_OPTION_TEXTS, &request->set},
      {"from", PLANISH_OPTION_TIME, &request->from},
      {"to", PLANISH_OPTION_TIME, &request->to},
      {"matched", PLANISH_OPTION_TEXT, &request->matched},
      {"float", PLANISH_OPTION_FLAG, &request->is_float},
      {"silence-bad", PLANISH_OPTION_FLAG, &request->silence_bad},
      {"audition", PLANISH_OPTION_FLAG, &request->audition},
      {"account", PLANISH_OPTION_FLAG, &request->after.account},
      {"report", PLANISH_OPTION_TEXT, &request->after.report},
      {"reference", PLANISH_OPTION_TEXTS, &request->after.references},
      {"client", PLANISH_OPTION_FLAG, &request->after.client},
      {"no-recall", PLANISH_OPTION_FLAG, &request->no_recall},
      {"jobs", PLANISH_OPTION_COUNT, &request->jobs},
      {"json", PLANISH_OPTION_FLAG, &request->json},
      {"bundle", PLANISH_OPTION_TEXT, &request->bundle},
  };
  int first = 0;
  if (!planish_options_read(argc, argv, help, options, sizeof options / sizeof *options, &first,
                            error)) {
    return false;
  }
  if (argc - first != 3) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "%d names: render takes three, SHEET MIX OUT: see planish render --help",
                        argc - first);
  }
  request->sheet = argv[first];
  request->mix = argv[first + 1];
  request->out = argv[first + 2];
  return true;
}

static bool ends_in(const char *text, const char *ending)
{
  const size_t length = strlen(text);
  const size_t tail = strlen(ending);
  return length >= tail && strcasecmp(text + length - tail, ending) == 0;
}

/* Of standard input: the file that it may come from. */
static const char *mix_place(const Request *request)
{
  return planish_is_stream(request->mix) ? "/dev/stdin" : request->mix;
}

/* Before the mix comes, which may take its time. */
static bool keep_output(const Request *request, PlanishError *error)
{
  const char *inputs[] = {mix_place(request), request->sheet, NULL};
  const char *other = request->json                   ? "--json"
                      : request->after.report != NULL ? "--report"
                      : request->targets != NULL      ? "--targets"
                      : request->variants != NULL     ? "--variants"
                      : request->without.count > 0    ? "--without"
                                                      : NULL;
  if (planish_is_stream(request->matched)) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "not together: --matched and standard output: name a file instead of -");
  }
  if (!planish_is_stream(request->out)) {
    return true;
  }
  if (other != NULL) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "not together: %s and standard output for OUT: name a file instead of -",
                        other);
  }
  return planish_writer_check(request->out, inputs, error) && planish_standard_output_keep(error);
}

/* The outputs must not be inputs, nor each other. */
static bool check_outputs(Request *request, PlanishError *error)
{
  const char *inputs[] = {mix_place(request), request->sheet, NULL, NULL};
  if (!planish_is_stream(request->out) && !planish_writer_check(request->out, inputs, error)) {
    return false;
  }
  inputs[2] = planish_is_stream(request->out) ? NULL : request->out;
  return (request->matched == NULL || planish_writer_check(request->matched, inputs, error)) &&
         planish_render_after_check(&request->after, request->out, inputs, error);
}

/* Whether each master gets a recall file: not an excerpt, whose samples hang on what ran in ahead,
 * nor one through a pipe, of which no file could be named. */
static bool choose_recall(const Request *request, PlanishMasterJob *job, PlanishRecallFile *file,
                          PlanishError *error)
{
  if (request->no_recall || job->excerpt || planish_is_stream(request->mix) ||
      planish_is_stream(request->out)) {
    return true;
  }
  job->made = planish_recall_file_write;
  job->made_user = file;
  return planish_recall_file_start(file, PLANISH_VERSION, request->mix, request->silence_bad,
                                   error);
}

static bool override_sheet(const Request *request, PlanishSheet *sheet, PlanishError *error)
{
  bool done =
      (isnan(request->ceiling) || planish_sheet_set_ceiling(sheet, request->ceiling, error)) &&
      (isnan(request->loudness) || planish_sheet_set_loudness(sheet, request->loudness, error));
  for (size_t n = 0; n < request->set.count && done; ++n) {
    done = planish_sheet_set_control(sheet, request->set.list[n], request->audition, error);
  }
  return done;
}

static bool choose_part(const Request *request, PlanishMasterJob *job, PlanishError *error)
{
  const double rate = planish_reader_rate(job->mix);
  const uint64_t length = planish_reader_frames(job->mix);
  job->excerpt = !isnan(request->from) || !isnan(request->to);
  const double from = isnan(request->from) ? 0.0 : request->from * rate + 0.5;
  const double to = isnan(request->to) ? (double)length : request->to * rate + 0.5;
  /* Compared before they become whole: a time may be beyond what fits. */
  job->from = from < (double)length ? (uint64_t)from : length;
  job->to = to < (double)length ? (uint64_t)to : length;
  return job->from < job->to ||
         planish_fail(error, PLANISH_BAD_USE,
                      "an empty excerpt: --from and --to: the mix has %.3f s",
                      (double)length / rate);
}

/* What it was made by, where that was another's recall file, and what stands beside it or could. */
static void print_beside(const PlanishMasterJob *job)
{
  const PlanishRecallNote *note = job->sheet->recall;
  if (note != NULL && isfinite(note->master.loudness)) {
    planish_text_print(stdout, "settings  as they landed for %s, at %.2f LUFS: not landed again\n",
                       note->master.path, note->master.loudness);
  }
  if (job->made != NULL) {
    planish_text_print(stdout, "recall    %s.yaml\n", job->out);
  }
  if (job->sheet->variant_count > 0) {
    planish_text_print(stdout, "variants  %u in the sheet: --variants=all makes them\n",
                       (unsigned)job->sheet->variant_count);
  }
}

static void print(const Request *request, const PlanishMasterJob *job,
                  const PlanishMasterReport *report, const PlanishRenderExtras *extras)
{
  const PlanishDistortionTable *price = request->after.account ? extras->price : NULL;
  if (request->json) {
    planish_render_json(job, report, price);
  } else {
    planish_render_table(job, report);
    print_beside(job);
    if (price != NULL) {
      planish_distortion_table_print(job, price);
    }
    if (extras->page != NULL) {
      planish_text_print(stdout, "report    %s\n", extras->page);
    }
  }
  (void)fflush(stdout);
  planish_warn_of_mix(job, report);
  planish_warn_of_clipping(job->out, report->clipped);
  planish_warn_of_clipping(job->matched, report->matched_clipped);
  planish_warn_of_price(NULL, report);
  if (extras->price != NULL) {
    planish_distortion_table_warn(extras->price);
  }
}

static bool make_master(const Request *request, const PlanishMasterJob *wanted, PlanishError *error)
{
  PlanishMasterJob job = *wanted;
  PlanishMasterReport report;
  PlanishProgress progress = planish_progress_new();
  job.told = planish_progress_tell;
  job.told_user = &progress;
  /* Else the account tells, and more. */
  job.price = !request->after.account && request->after.report == NULL;
  const bool done = planish_master(&job, &report, error);
  PlanishRenderExtras extras = {0};
  if (done) {
    (void)planish_render_after_make(&request->after, &job, &report, &extras, error);
  }
  planish_progress_end(&progress);
  if (done) {
    print(request, &job, &report, &extras);
    if (report.landing_wanted && report.landing.state != PLANISH_LANDED) {
      char reason[480];
      planish_master_reason(&job, &report, reason, sizeof reason);
      planish_fail(error, PLANISH_MISSED, "%s", reason);
    }
  }
  planish_render_extras_release(&extras);
  planish_master_report_free(&report);
  return done && error->outcome == PLANISH_DONE;
}

/* What one master alone can have, and what one with a target of its own; NULL: nothing of it is
 * asked for. */
static const char *asked_of_one(const Request *request)
{
  return request->after.report != NULL ? "--report" : request->after.account ? "--account" : NULL;
}

static const char *asked_beside_targets(const Request *request)
{
  return request->targets != NULL && request->variants != NULL ? "--variants"
         : request->without.count > 0                          ? "--without"
         : request->matched != NULL                            ? "--matched"
         : !isnan(request->loudness)                           ? "--loudness"
         : !isnan(request->from) || !isnan(request->to)        ? "--from or --to"
                                                               : NULL;
}

static bool check_several(const Request *request, PlanishError *error)
{
  const char *several = request->targets != NULL     ? "--targets"
                        : request->variants != NULL  ? "--variants"
                        : request->without.count > 0 ? "--without"
                                                     : NULL;
  const char *other = asked_of_one(request);
  if (other == NULL && (request->targets != NULL || request->variants != NULL)) {
    other = asked_beside_targets(request);
  }
  return several == NULL || other == NULL ||
         planish_fail(error, PLANISH_BAD_USE, "not together: %s and %s: give one of them", several,
                      other);
}

/* What the sheet of a variant is opened with. */
typedef struct {
  const Request *request;
  PlanishHost *host;
} Opening;

static PlanishSheet *open_variant(void *user, const char *name, PlanishError *error)
{
  const Opening *opening = user;
  const Request *request = opening->request;
  PlanishSheet *sheet =
      planish_opening_variant(request->sheet, name, opening->host, request->audition, error);
  if (sheet != NULL && !override_sheet(request, sheet, error)) {
    planish_sheet_free(sheet);
    sheet = NULL;
  }
  return sheet;
}

static bool is_of_several(const Request *request)
{
  return request->targets != NULL || request->variants != NULL || request->without.count > 0;
}

static bool make(const Request *request, const PlanishMasterJob *job, PlanishHost *host,
                 PlanishError *error)
{
  const char *const inputs[] = {mix_place(request), request->sheet, request->matched, NULL};
  Opening opening = {.request = request, .host = host};
  const PlanishSeveralRequest several = {.job = job,
                                         .inputs = inputs,
                                         .json = request->json,
                                         .open_variant = open_variant,
                                         .user = &opening};
  if (job->made != NULL && !is_of_several(request) &&
      !planish_recall_file_check(job->out, inputs, error)) {
    return false;
  }
  if (request->targets != NULL) {
    return planish_render_targets(&several, request->targets, error);
  }
  if (request->variants != NULL) {
    return planish_render_variants(&several, request->variants, error);
  }
  return request->without.count > 0 ? planish_render_without(&several, &request->without, error)
                                    : make_master(request, job, error);
}

static bool render(Request *request, PlanishHost *host, PlanishError *error)
{
  PlanishSheet *sheet = planish_opening_sheet(request->sheet, host, request->audition, error);
  if (sheet == NULL) {
    return false;
  }
  PlanishMasterJob job = {
      .sheet = sheet,
      .out = request->out,
      .matched = request->matched,
      .word = request->is_float || ends_in(request->out, ".float.wav") ? PLANISH_WORD_FLOAT
                                                                       : PLANISH_WORD_24,
  };
  PlanishRecallFile recall = {0};
  request->after.mix = request->mix;
  request->after.silence_bad = request->silence_bad;
  job.mix =
      override_sheet(request, sheet, error)
          ? planish_mix_open_beside(request->mix, sheet, request->silence_bad, request->out, error)
          : NULL;
  const bool done =
      job.mix != NULL && check_outputs(request, error) && choose_part(request, &job, error) &&
      choose_recall(request, &job, &recall, error) && make(request, &job, host, error);
  planish_render_after_end(&request->after);
  planish_reader_free(job.mix);
  planish_sheet_free(sheet);
  return done;
}

bool planish_command_render(int argc, char **argv, PlanishError *error)
{
  Request request = {0};
  if (!read_request(argc, argv, &request, error)) {
    return false;
  }
  planish_workers_limit(request.jobs);
  if (!check_several(&request, error) || !keep_output(&request, error)) {
    return false;
  }
  PlanishHost *host = planish_opening_host(request.bundle, error);
  const bool done = host != NULL && render(&request, host, error);
  planish_host_free(host);
  return done;
}
