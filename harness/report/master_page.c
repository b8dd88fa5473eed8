#include "harness/report/master_page.h"

#include "harness/base/text.h"
#include "harness/report/gathering.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { TEXT = 512 };

const char *planish_gathering_text(PlanishGathering *gathering, const char *format, ...)
{
  if (gathering->text_count == PLANISH_GATHERED_TEXTS) {
    return NULL;
  }
  char text[TEXT];
  va_list arguments;
  va_start(arguments, format);
  (void)planish_text_vformat(text, sizeof text, format, arguments);
  va_end(arguments);
  char *copy = planish_text_copy(text);
  gathering->texts[gathering->text_count] = copy;
  gathering->text_count += copy != NULL;
  return copy;
}

bool planish_gathered_table_new(PlanishGatheredTable *table, const char *corner, size_t rows,
                                size_t columns, PlanishError *error)
{
  table->columns = calloc(columns, sizeof(const char *));
  table->decimals = calloc(columns, sizeof *table->decimals);
  table->rows = calloc(rows, sizeof *table->rows);
  table->values = calloc(rows * columns, sizeof *table->values);
  if (table->columns == NULL || table->decimals == NULL || table->rows == NULL ||
      table->values == NULL) {
    return planish_fail_memory(error);
  }
  for (size_t n = 0; n < rows * columns; ++n) {
    table->values[n] = (double)NAN;
  }
  for (size_t n = 0; n < rows; ++n) {
    table->rows[n] = (PlanishReportRow){"", "", table->values + n * columns};
  }
  table->table =
      (PlanishReportTable){corner, table->columns, table->decimals, columns, table->rows, rows};
  return true;
}

void planish_gathered_table_free(PlanishGatheredTable *table)
{
  free(table->columns);
  free(table->decimals);
  free(table->rows);
  free(table->values);
}

static void release(PlanishGathering *gathering)
{
  for (size_t n = 0; gathering->own != NULL && n < gathering->count; ++n) {
    planish_track_free(gathering->own[n]);
  }
  for (size_t n = 0; n < gathering->text_count; ++n) {
    free(gathering->texts[n]);
  }
  planish_gathered_table_free(&gathering->punch);
  planish_gathered_table_free(&gathering->low_end);
  planish_gathered_table_free(&gathering->account);
  free(gathering->own);
  free(gathering->versions);
  free(gathering->measured);
  free(gathering->octaves);
  free(gathering->levels);
  free(gathering->curves);
  free(gathering->gains);
  free(gathering->gain_values);
  free(gathering->findings);
  free(gathering->settings);
}

static bool gather(PlanishGathering *gathering, PlanishError *error)
{
  return planish_gather_sound(gathering, error) && planish_gather_octaves(gathering, error) &&
         planish_gather_punch(gathering, error) && planish_gather_gains(gathering, error) &&
         planish_gather_account(gathering, error) && planish_gather_faults(gathering, error) &&
         planish_gather_findings(gathering, error) && planish_gather_settings(gathering, error);
}

static PlanishVerdict verdict_of(const PlanishMasterReport *result)
{
  return !result->landing_wanted                   ? PLANISH_VERDICT_RENDERED
         : result->landing.state == PLANISH_LANDED ? PLANISH_VERDICT_LANDED
                                                   : PLANISH_VERDICT_MISSED;
}

static const char *part_of(PlanishGathering *gathering)
{
  const PlanishMasterJob *job = gathering->job->master;
  const double rate = gathering->job->stages->rate;
  char from[PLANISH_TEXT_TIME];
  char to[PLANISH_TEXT_TIME];
  return !planish_gathering_is_part(gathering)
             ? NULL
             : planish_gathering_text(gathering, "%s to %s",
                                      planish_text_of_time(from, (double)job->from / rate),
                                      planish_text_of_time(to, (double)job->to / rate));
}

static PlanishReportPage page_of(PlanishGathering *gathering)
{
  const PlanishReportJob *job = gathering->job;
  const PlanishSheet *sheet = job->master->sheet;
  return (PlanishReportPage){
      .title = planish_file_name(job->master->out),
      .mix = planish_file_name(planish_reader_path(job->master->mix)),
      .part = part_of(gathering),
      .program = job->program,
      .verdict = verdict_of(job->result),
      .reason = job->reason,
      .target_loudness = sheet->has_loudness ? sheet->loudness : (double)NAN,
      .target_ceiling = sheet->has_ceiling ? sheet->ceiling : (double)NAN,
      .faults = gathering->faults,
      .fault_count = gathering->fault_count,
      .versions = gathering->versions,
      .version_count = gathering->count,
      .rate = job->stages->rate,
      .gains = gathering->gains,
      .gain_count = gathering->gain_count,
      .bands = &gathering->bands,
      .punch = &gathering->punch.table,
      .low_end = &gathering->low_end.table,
      .account = gathering->account.rows == NULL ? NULL : &gathering->account.table,
      .findings = gathering->findings,
      .finding_count = gathering->finding_count,
      .checked = job->mix != NULL,
      .settings = gathering->settings,
  };
}

bool planish_report_make(const PlanishReportJob *job, const char *path, PlanishError *error)
{
  PlanishGathering *gathering = calloc(1, sizeof *gathering);
  if (gathering == NULL) {
    return planish_fail_memory(error);
  }
  gathering->job = job;
  bool done = gather(gathering, error);
  if (done) {
    const PlanishReportPage page = page_of(gathering);
    done = planish_report_write(&page, path, error);
  }
  release(gathering);
  free(gathering);
  return done;
}

char *planish_report_path(const char *folder, const char *master)
{
  const char *name = planish_file_name(master);
  const char *dot = strrchr(name, '.');
  const size_t length =
      dot != NULL && strcasecmp(dot, ".wav") == 0 ? (size_t)(dot - name) : strlen(name);
  return planish_text_new("%s/%.*s.html", folder, (int)length, name);
}
