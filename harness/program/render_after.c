#include "harness/program/render_after.h"

#include "harness/base/place.h"
#include "harness/base/standard_streams.h"
#include "harness/base/text.h"
#include "harness/report/master_page.h"
#include "harness/report/report.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void tell_render(void *user, double share)
{
  const PlanishMasterJob *job = user;
  if (job->told != NULL) {
    job->told(job->told_user, "render between the stages", 0, share);
  }
}

static PlanishStageTracks *render(PlanishMasterJob *job, const PlanishMasterReport *report,
                                  PlanishError *error)
{
  const PlanishRenderJob render = {
      .mix = job->mix,
      .sheet = job->sheet,
      .input_gain = report->input_gain,
      .from = job->from,
      .to = job->to,
      .told = tell_render,
      .told_user = job,
  };
  return planish_stage_tracks_new(&render, job->out, NULL, error);
}

static bool make_report(const PlanishRenderAfter *after, const PlanishMasterJob *job,
                        const PlanishMasterReport *report, const PlanishStageTracks *tracks,
                        PlanishRenderExtras *extras, PlanishError *error)
{
  char reason[480] = "";
  if (report->landing_wanted && report->landing.state != PLANISH_LANDED) {
    planish_master_reason(job, report, reason, sizeof reason);
  }
  const PlanishReportJob page = {
      .master = job,
      .result = report,
      .stages = tracks,
      .account = extras->price->stages,
      .whole = &extras->price->whole,
      .references = after->references.list,
      .reference_count = after->references.count,
      .mix = planish_is_stream(after->mix) ? NULL : after->mix,
      .reason = reason[0] == '\0' ? NULL : reason,
      .program = "planish " PLANISH_VERSION,
      .client = after->client,
      .silence_bad = after->silence_bad,
  };
  extras->page = planish_report_path(after->report, job->out);
  return extras->page != NULL ? planish_report_make(&page, extras->page, error)
                              : planish_fail_memory(error);
}

/* The words of an interrupt are about a master that is not there; this one is. */
static void say_what_is_there(const PlanishMasterJob *job, PlanishError *error)
{
  if (error->outcome == PLANISH_INTERRUPTED) {
    planish_error_clear(error);
    planish_fail(error, PLANISH_INTERRUPTED,
                 "interrupted: %s is written, what was to be told of it is not made",
                 planish_output_name(job->out));
  }
}

static bool is_folder(const char *path)
{
  struct stat info;
  return stat(path, &info) == 0 && S_ISDIR(info.st_mode);
}

static bool is_one_of(const char *path, const char *const *taken)
{
  struct stat own;
  struct stat other;
  for (; stat(path, &own) == 0 && *taken != NULL; ++taken) {
    if (stat(*taken, &other) == 0 && own.st_ino == other.st_ino && own.st_dev == other.st_dev) {
      return true;
    }
  }
  return false;
}

/* What cannot be read is said before the wait. */
static bool check_references(const PlanishRenderAfter *after, PlanishError *error)
{
  bool done = true;
  for (size_t n = 0; done && n < after->references.count; ++n) {
    if (planish_is_stream(after->references.list[n])) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "a reference cannot come from standard input: name a file");
    }
    PlanishReader *reader = planish_reader_open(after->references.list[n], NULL, error);
    done = reader != NULL;
    planish_reader_free(reader);
  }
  return done;
}

/* Neither page nor master takes the place of what is read, nor the page that of what others made.
 */
static bool check_page(const PlanishRenderAfter *after, const char *page, const char *out,
                       const char *const *taken, PlanishError *error)
{
  bool is_input = is_one_of(page, taken);
  for (size_t n = 0; n < after->references.count; ++n) {
    const char *reference = after->references.list[n];
    is_input = is_input || planish_place_same(page, reference);
    if (planish_place_same(out, reference)) {
      return planish_fail(error, PLANISH_BAD_USE,
                          "the master would be written over a reference: %s: give it another name",
                          reference);
    }
  }
  if (is_input) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "the report would take the place of an input or of the master: %s: choose "
                        "another folder",
                        page);
  }
  return planish_place_is_ours(page, PLANISH_REPORT_MARK) ||
         planish_fail(error, PLANISH_BAD_USE,
                      "the report's place is taken by something that is no report: %s: move it "
                      "away, or choose another folder",
                      page);
}

bool planish_render_after_check(PlanishRenderAfter *after, const char *out,
                                const char *const *taken, PlanishError *error)
{
  if (after->report == NULL) {
    return (!after->client && after->references.count == 0) ||
           planish_fail(error, PLANISH_BAD_USE,
                        "--client and --reference are about a report: add --report=FOLDER");
  }
  after->made_folder = !is_folder(after->report) && mkdir(after->report, 0777) == 0;
  const int problem = errno;
  if (!after->made_folder && !is_folder(after->report)) {
    return planish_fail(error, PLANISH_BAD_FILE, "no such folder, and it cannot be made: %s: %s",
                        after->report,
                        problem == EEXIST   ? "something else has that name"
                        : problem == ENOENT ? "make the folder it stands in"
                                            : "see that it can be written");
  }
  if (after->made_folder && is_one_of(after->report, taken)) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "the report's folder would stand in the place of the master: %s: choose "
                        "another folder",
                        after->report);
  }
  char *page = planish_report_path(after->report, out);
  if (page == NULL) {
    return planish_fail_memory(error);
  }
  const bool clear = check_page(after, page, out, taken, error);
  free(page);
  return clear && check_references(after, error);
}

void planish_render_after_end(const PlanishRenderAfter *after)
{
  if (after->made_folder) {
    (void)rmdir(after->report); /* unless something is in it */
  }
}

bool planish_render_after_make(const PlanishRenderAfter *after, const PlanishMasterJob *job,
                               const PlanishMasterReport *report, PlanishRenderExtras *extras,
                               PlanishError *error)
{
  PlanishMasterJob wanted = *job;
  if (!after->account && after->report == NULL) {
    return true;
  }
  PlanishStageTracks *tracks = render(&wanted, report, error);
  extras->price = tracks == NULL ? NULL : planish_distortion_table_new(job, tracks, error);
  const bool done =
      extras->price != NULL &&
      (after->report == NULL || make_report(after, job, report, tracks, extras, error));
  planish_stage_tracks_free(tracks);
  if (!done) {
    say_what_is_there(job, error);
  }
  return done;
}

void planish_render_extras_release(PlanishRenderExtras *extras)
{
  planish_distortion_table_free(extras->price);
  free(extras->page);
  *extras = (PlanishRenderExtras){0};
}
