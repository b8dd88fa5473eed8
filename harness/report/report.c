#include "harness/report/report.h"

#include "harness/base/temporary_file.h"
#include "harness/report/assets.h"
#include "harness/report/html.h"
#include "harness/report/page_head.h"
#include "harness/report/sections.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* What is not needed for charts (some 40 kB a series of gains), block powers (15 kB a version and
 * minute), tables and settings. */
static size_t room_for_excerpts(const PlanishReportPage *report)
{
  return PLANISH_REPORT_LARGEST - 1000000 - 50000 * (report->version_count + report->gain_count);
}

static void write_top(FILE *out, const PlanishReportPage *report)
{
  (void)fputs("<body>\n<a class=\"skip\" href=\"#player\">To the player</a>\n<header><div><h1>",
              out);
  planish_html_text(out, report->title);
  (void)fputs("</h1><p>", out);
  if (report->mix != NULL) {
    (void)fputs("from ", out);
    planish_html_text(out, report->mix);
  }
  if (report->part != NULL) {
    (void)fputs(", ", out);
    planish_html_text(out, report->part);
    (void)fputs("; times on this page begin with the excerpt", out);
  }
  (void)fputs("</p></div><label class=\"colours\">Colours <select id=\"colours\"><option "
              "value=\"\">of the system</option><option value=\"light\">light</option><option "
              "value=\"dark\">dark</option></select></label></header>\n<main>\n",
              out);
}

static void write_page(FILE *out, const PlanishPage *page)
{
  planish_page_head(out, page->report->title, true);
  write_top(out, page->report);
  planish_section_verdict(out, page);
  planish_section_player(out, page);
  planish_section_gains(out, page);
  planish_section_bands(out, page);
  planish_section_punch(out, page);
  planish_section_account(out, page);
  planish_section_mono(out, page);
  planish_section_edges(out, page);
  planish_section_findings(out, page);
  planish_section_settings(out, page);
  (void)fputs("</main>\n<footer><p>Made by ", out);
  planish_html_text(out, page->report->program);
  (void)fputs(". This page is whole in itself and asks nothing of a network.</p></footer>\n", out);
  planish_player_data(out, page);
  (void)fputs("<script>", out);
  (void)fwrite(planish_page_script, 1, planish_page_script_size, out);
  (void)fputs("</script>\n</body>\n</html>\n", out);
}

static bool fail_to_write(const char *path, int cause, PlanishError *error)
{
  return planish_fail(error, PLANISH_BAD_FILE, "cannot write: %s: %s", path,
                      cause == ENOSPC ? "the disk is full: make room"
                                      : "see that the folder is there and can be written");
}

/* The page in its file under another name, and whether the stream took all of it. */
static bool write_file(const PlanishTemporaryFile *file, const PlanishPage *page)
{
  const int own = dup(file->descriptor);
  FILE *out = own < 0 ? NULL : fdopen(own, "wb");
  if (out == NULL) {
    if (own >= 0) {
      (void)close(own);
    }
    return false;
  }
  write_page(out, page);
  const bool done = ferror(out) == 0;
  return fclose(out) == 0 && done;
}

static bool write_in_place(const PlanishPage *page, const char *path, PlanishError *error)
{
  PlanishTemporaryFile file;
  errno = 0;
  if (!planish_temporary_file_new(&file, path)) {
    return fail_to_write(path, errno, error);
  }
  const bool done = write_file(&file, page) && planish_temporary_file_commit(&file, path);
  const int cause = errno;
  planish_temporary_file_free(&file);
  return done || fail_to_write(path, cause, error);
}

static size_t find_version(const PlanishReportPage *report, PlanishVersionKind kind)
{
  for (size_t n = 0; n < report->version_count; ++n) {
    if (report->versions[n].kind == kind) {
      return n;
    }
  }
  return PLANISH_NO_VERSION;
}

static bool survey_all(const PlanishReportPage *report, PlanishSurvey *surveys, PlanishError *error)
{
  for (size_t n = 0; n < report->version_count; ++n) {
    const PlanishReportVersion *version = &report->versions[n];
    if (!planish_survey_make(&surveys[n], version->track, report->rate, error)) {
      return false;
    }
  }
  return true;
}

static bool make_page(const PlanishReportPage *report, PlanishSurvey *surveys, const char *path,
                      PlanishError *error)
{
  PlanishMoment moments[PLANISH_REPORT_MOMENTS];
  PlanishCarrying carrying = {0};
  if (!survey_all(report, surveys, error)) {
    return false;
  }
  const size_t moment_count = planish_moments_find(report->gains, report->gain_count, moments);
  const PlanishPage page = {
      .report = report,
      .surveys = surveys,
      .carrying = &carrying,
      .moments = moments,
      .moment_count = moment_count,
      .mix = find_version(report, PLANISH_VERSION_MIX),
      .master = find_version(report, PLANISH_VERSION_MASTER),
  };
  const bool done = planish_carrying_make(&carrying, report, surveys, moments, moment_count,
                                          room_for_excerpts(report), error) &&
                    write_in_place(&page, path, error);
  planish_carrying_free(&carrying);
  return done;
}

bool planish_report_write(const PlanishReportPage *report, const char *path, PlanishError *error)
{
  PlanishSurvey *surveys = calloc(report->version_count, sizeof *surveys);
  const bool done =
      surveys != NULL ? make_page(report, surveys, path, error) : planish_fail_memory(error);
  for (size_t n = 0; surveys != NULL && n < report->version_count; ++n) {
    planish_survey_free(&surveys[n]);
  }
  free(surveys);
  return done;
}
