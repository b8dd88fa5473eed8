/* What is said in words: faults of the master, findings in the mix, settings. */
#include "harness/report/gathering.h"

#include "harness/base/text.h"
#include "harness/check/check_file.h"
#include "harness/sheet/sheet_write.h"

#include <math.h>
#include <stdlib.h>

static void add_fault(PlanishGathering *gathering, PlanishSeverity severity, const char *what,
                      const char *remedy)
{
  if (what != NULL &&
      gathering->fault_count < sizeof gathering->faults / sizeof(*gathering->faults)) {
    gathering->faults[gathering->fault_count++] =
        (PlanishReportFinding){severity, what, NULL, remedy};
  }
}

static void tell_of_the_drive(PlanishGathering *gathering)
{
  const PlanishMasterReport *result = gathering->job->result;
  const PlanishSheet *sheet = gathering->job->master->sheet;
  if (!result->landing.task.has_loudness) {
    return;
  }
  const PlanishSheetStage *stage = &sheet->stages[sheet->by.stage];
  const PlanishPluginPort *port = &stage->plugin->ports[sheet->by.port];
  const bool hard = result->has_drive && result->extra_drive >= PLANISH_DRIVE_WARNING;
  add_fault(
      gathering, hard ? PLANISH_WARNING : PLANISH_NOTE,
      result->has_drive
          ? planish_gathering_text(gathering, "%s.%s at %.2f %s, extra drive %.2f dB, %u render%s",
                                   stage->name, port->symbol, (double)stage->values[sheet->by.port],
                                   port->unit, planish_text_unsigned_zero(result->extra_drive, 2),
                                   result->landing.renders, result->landing.renders == 1 ? "" : "s")
          : planish_gathering_text(gathering, "%s.%s at %.2f %s, %u render%s", stage->name,
                                   port->symbol, (double)stage->values[sheet->by.port], port->unit,
                                   result->landing.renders,
                                   result->landing.renders == 1 ? "" : "s"),
      hard ? "the chain is pushed for more than it can give cleanly: listen at matched "
             "loudness, or ask for less"
           : NULL);
  if (result->landing.best.lowering > 0.0) {
    add_fault(gathering, PLANISH_NOTE,
              planish_gathering_text(gathering, "ceilings lowered by %.3f dB to hold the true peak",
                                     result->landing.best.lowering),
              NULL);
  }
}

bool planish_gather_faults(PlanishGathering *gathering, PlanishError *error)
{
  (void)error;
  const PlanishReportJob *job = gathering->job;
  const PlanishMasterReport *result = job->result;
  const PlanishSheet *sheet = job->master->sheet;
  if (result->clipped > 0) {
    add_fault(gathering, PLANISH_FAULT,
              planish_gathering_text(gathering, "%llu samples were over full scale and are clipped",
                                     (unsigned long long)result->clipped),
              "lower the level, or write 32-bit float");
  }
  if (sheet->has_ceiling && result->result.true_peak > sheet->ceiling + PLANISH_LANDING_OVER) {
    add_fault(gathering, PLANISH_FAULT,
              planish_gathering_text(gathering, "true peak %.2f dB over the ceiling",
                                     result->result.true_peak - sheet->ceiling),
              "name controls in ceiling_at that can go down");
  }
  if (job->whole != NULL && planish_distortion_ruins(job->whole)) {
    add_fault(gathering, PLANISH_WARNING,
              planish_gathering_text(gathering, "distortion is over the mask %.0f %% of the time",
                                     100.0 * job->whole->audible),
              "listen at matched loudness, or ask for less");
  }
  if (!job->client) {
    tell_of_the_drive(gathering);
  }
  return true;
}

/* "0:12.100, 0:14.600 and 5 more". */
static const char *times_of(PlanishGathering *gathering, const PlanishFinding *finding)
{
  char text[256] = "";
  size_t length = 0;
  for (size_t n = 0; n < finding->times && length < sizeof text; ++n) {
    char time[PLANISH_TEXT_TIME];
    const int written =
        planish_text_format(text + length, sizeof text - length, "%s%s", n == 0 ? "" : ", ",
                            planish_text_of_time(time, finding->time[n]));
    length += written > 0 ? (size_t)written : 0;
  }
  if (finding->times == 0) {
    return NULL;
  }
  const unsigned long long more = finding->count - finding->times;
  return more > 0 && finding->count > finding->times
             ? planish_gathering_text(gathering, "at %s and %llu more", text, more)
             : planish_gathering_text(gathering, "at %s", text);
}

bool planish_gather_findings(PlanishGathering *gathering, PlanishError *error)
{
  PlanishCheckResult result;
  if (gathering->job->mix == NULL) {
    return true;
  }
  if (!planish_check_file(gathering->job->mix, gathering->job->silence_bad, NULL, NULL, &result,
                          error)) {
    return false;
  }
  gathering->findings = calloc(result.findings.count + 1, sizeof *gathering->findings);
  if (gathering->findings == NULL) {
    return planish_fail_memory(error);
  }
  for (size_t n = 0; n < result.findings.count; ++n) {
    const PlanishFinding *finding = &result.findings.finding[n];
    const char *channel = planish_finding_channel_name(finding->channel);
    gathering->findings[n] = (PlanishReportFinding){
        finding->severity,
        planish_gathering_text(gathering, "%s%s%s", channel == NULL ? "" : channel,
                               channel == NULL ? "" : ": ", finding->what),
        times_of(gathering, finding), planish_gathering_text(gathering, "%s", finding->remedy)};
  }
  gathering->finding_count = result.findings.count;
  return true;
}

bool planish_gather_settings(PlanishGathering *gathering, PlanishError *error)
{
  if (gathering->job->client) {
    return true;
  }
  size_t size = 0;
  const PlanishSheetWriting writing = {.resolved = true};
  FILE *stream = open_memstream(&gathering->settings, &size);
  if (stream == NULL) {
    return planish_fail_memory(error);
  }
  planish_sheet_write(stream, gathering->job->master->sheet, &writing);
  const bool done = ferror(stream) == 0;
  return (fclose(stream) == 0 && done) || planish_fail_memory(error);
}
