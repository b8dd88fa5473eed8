#include "harness/program/several_rows.h"

#include "harness/base/text.h"
#include "harness/program/progress.h"
#include "harness/program/warnings.h"
#include "harness/recall/recall_file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static void free_rows(PlanishSeveralRows *rows)
{
  for (uint32_t n = 0; n < rows->count; ++n) {
    planish_master_report_free(&rows->rows[n].report);
    free(rows->labels[n]);
    free(rows->outs[n]);
    planish_sheet_free(rows->sheets[n]);
  }
  free(rows);
}

/* master.wav with -9 becomes master-9.wav, master.float.wav becomes master-9.float.wav. */
static char *suffixed(const char *out, const char *suffix)
{
  static const char *const endings[] = {".float.wav", ".wav"};
  const size_t length = strlen(out);
  size_t stem = length;
  for (size_t n = 0; n < 2 && stem == length; ++n) {
    const size_t tail = strlen(endings[n]);
    stem = length > tail && strcasecmp(out + length - tail, endings[n]) == 0 ? length - tail : stem;
  }
  return planish_text_new("%.*s-%s%s", (int)stem, out, suffix, out + stem);
}

bool planish_several_add(const PlanishSeveralRequest *request, PlanishSeveralRows *rows,
                         char *label, const char *suffix, PlanishError *error)
{
  const uint32_t n = rows->count++;
  const char *out = request->job->out;
  rows->labels[n] = label;
  rows->outs[n] = suffix == NULL ? planish_text_copy(out) : suffixed(out, suffix);
  if (rows->labels[n] == NULL || rows->outs[n] == NULL) {
    return planish_fail_memory(error);
  }
  rows->rows[n].label = rows->labels[n];
  rows->rows[n].out = rows->outs[n];
  rows->rows[n].target = (double)NAN;
  return planish_writer_check(rows->outs[n], request->inputs, error) &&
         (request->job->made == NULL ||
          planish_recall_file_check(rows->outs[n], request->inputs, error));
}

bool planish_several_land(PlanishMastering *mastering, const PlanishMasterJob *job,
                          PlanishSeveralRows *rows, uint32_t n, PlanishError *error)
{
  PlanishPriceRow *row = &rows->rows[n];
  if (!planish_mastering_land(mastering, row->out, &row->report, error) ||
      !planish_mastering_price(mastering, &row->report, error)) {
    return false;
  }
  row->won = row->report.mix.plr - row->report.result.plr;
  if (row->report.landing_wanted && row->report.landing.state != PLANISH_LANDED) {
    planish_master_reason(job, &row->report, rows->reasons[n], sizeof rows->reasons[n]);
    row->reason = rows->reasons[n];
  }
  return true;
}

/* Tells what was made. */
static bool tell(const PlanishSeveralRequest *request, const char *heading,
                 const PlanishSeveralRows *rows, PlanishError *error)
{
  uint32_t missed = 0;
  const char *reason = NULL;
  if (request->json) {
    planish_price_json(request->job, rows->rows, rows->count);
  } else {
    planish_price_table(request->job, heading, rows->rows, rows->count);
  }
  (void)fflush(stdout);
  planish_warn_of_mix(request->job, &rows->rows[0].report);
  for (uint32_t n = 0; n < rows->count; ++n) {
    const PlanishPriceRow *row = &rows->rows[n];
    planish_warn_of_clipping(row->out, row->report.clipped);
    planish_warn_of_clipping(request->job->matched, row->report.matched_clipped);
    if (row->without == NULL) {
      planish_warn_of_price(row->out, &row->report);
    }
    missed += row->reason != NULL ? 1 : 0;
    reason = row->reason != NULL ? row->reason : reason;
  }
  if (missed > 1) {
    return planish_fail(error, PLANISH_MISSED,
                        "%u of %u targets missed, the nearest of each is kept; the last: %s",
                        (unsigned)missed, (unsigned)rows->count, reason);
  }
  return missed == 0 || planish_fail(error, PLANISH_MISSED, "%s", reason);
}

bool planish_several_make(const PlanishSeveralRequest *request, PlanishSeveralRows *rows,
                          bool found,
                          bool (*make)(const PlanishMasterJob *job, PlanishSeveralRows *rows,
                                       PlanishError *error),
                          const char *heading, PlanishError *error)
{
  PlanishMasterJob job = *request->job;
  PlanishProgress progress = planish_progress_new();
  job.told = planish_progress_tell;
  job.told_user = &progress;
  bool done = found && make(&job, rows, error);
  planish_progress_end(&progress);
  done = done && tell(request, heading, rows, error);
  free_rows(rows);
  return done;
}
