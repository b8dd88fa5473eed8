/* planish check: a mix on arrival. */
#include "harness/base/text.h"
#include "harness/check/check_file.h"
#include "harness/check/check_json.h"
#include "harness/program/commands.h"
#include "harness/program/each_file.h"

#include <math.h>

static const char help[] =
    "Usage: planish check [OPTION]... MIX...\n"
    "Looks at mixes on arrival: what is wrong, where, how bad, what to do about it.\n"
    "Clipping, overs, limiting, clicks, dropouts, cut ends, DC, polarity, balance,\n"
    "mono in stereo, real word length, raised rate, loss, noise in the pauses.\n"
    "A MIX - is standard input.\n"
    "\n"
    "      --json            for machines: an array, one object a file; \"error\" tells why\n"
    "                        one could not be checked\n"
    "      --silence-bad     take samples that are no number as silence, and say how many\n"
    "      --help\n"
    "\n"
    "  planish check mix.wav\n"
    "  planish check --json mixes/*.wav > checks.json\n"
    "\n"
    "Exit: 0 clean, or notes only; 1 warnings or faults; 2 bad usage; 3 unusable audio;\n"
    "4 could not read. Of several files the worst counts.\n";

typedef struct {
  PlanishProgress *progress;
  const char *path;
} Teller;

static void tell(void *user, double share)
{
  const Teller *teller = user;
  planish_progress_tell(teller->progress, teller->path, 0, share);
}

static void print_times(const PlanishFinding *finding)
{
  if (finding->times == 0) {
    return;
  }
  planish_text_print(stdout, "           at");
  for (size_t n = 0; n < finding->times; ++n) {
    char time[PLANISH_TEXT_TIME];
    planish_text_print(stdout, " %s", planish_text_of_time(time, finding->time[n]));
  }
  planish_text_print(stdout, "%s\n", finding->count > finding->times ? " ..." : "");
}

static void print_finding(const PlanishFinding *finding)
{
  const char *channel = planish_finding_channel_name(finding->channel);
  planish_text_print(stdout, "  %-8s %s%s%s\n", planish_finding_severity_name(finding->severity),
                     channel == NULL ? "" : channel, channel == NULL ? "" : ": ", finding->what);
  print_times(finding);
  planish_text_print(stdout, "           -> %s\n", finding->remedy);
}

/* "2 faults, 1 note". */
static void print_counts(const PlanishFindings *findings)
{
  const char *lead = " ";
  for (int severity = PLANISH_FAULT; severity >= PLANISH_NOTE; --severity) {
    const size_t count = planish_findings_of(findings, (PlanishSeverity)severity);
    if (count > 0) {
      planish_text_print(stdout, "%s%zu %s%s", lead, count,
                         planish_finding_severity_name((PlanishSeverity)severity),
                         count == 1 ? "" : "s");
      lead = ", ";
    }
  }
}

static void print_head(const char *path, const PlanishCheckResult *result)
{
  const PlanishMeasurement *m = &result->measurement;
  const PlanishReaderWord *word = &result->source.word;
  planish_text_print(stdout, "%s:", path);
  print_counts(&result->findings);
  planish_text_print(stdout, "%s\n", result->findings.count == 0 ? " clean" : "");
  planish_text_print(stdout, "  %s, %g Hz", m->channels == 1 ? "mono" : "stereo", m->rate);
  if (word->bits > 0) {
    planish_text_print(stdout, ", %u bit%s", word->bits, word->floating ? " float" : "");
  }
  char time[PLANISH_TEXT_TIME];
  planish_text_print(stdout, ", %s", planish_text_of_time(time, m->duration));
  if (isfinite(m->integrated)) {
    planish_text_print(stdout, ", %.2f LUFS, peak to loudness %.1f LU", m->integrated, m->plr);
  }
  if (isfinite(m->true_peak)) {
    planish_text_print(stdout, ", %.2f dBTP", m->true_peak);
  }
  planish_text_print(stdout, "\n");
}

static void print_result(const char *path, const PlanishCheckResult *result)
{
  print_head(path, result);
  for (size_t n = 0; n < result->findings.count; ++n) {
    print_finding(&result->findings.finding[n]);
  }
}

static PlanishOutcome check(const PlanishOneFile *file, PlanishError *error)
{
  PlanishCheckResult result;
  Teller teller = {file->progress, file->name};
  const bool done =
      planish_check_file(file->path, file->silence_bad, tell, &teller, &result, error);
  planish_progress_end(file->progress);
  if (!done) {
    return error->outcome;
  }
  if (file->json != NULL) {
    planish_check_json(file->json, NULL, file->name, &result);
  } else {
    print_result(file->name, &result);
  }
  return planish_findings_of(&result.findings, PLANISH_WARNING) +
                     planish_findings_of(&result.findings, PLANISH_FAULT) >
                 0
             ? PLANISH_MISSED
             : PLANISH_DONE;
}

bool planish_command_check(int argc, char **argv, PlanishError *error)
{
  return planish_each_file(argc, argv, help, check, error);
}
