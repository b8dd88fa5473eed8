#include "harness/program/price_table.h"

#include "harness/base/json.h"
#include "harness/base/text.h"
#include "harness/measure/measure_json.h"

#include <math.h>
#include <string.h>

enum { LABEL = 22 };

/* What a stage reports as its reduction; NULL: it reports none, or was left out. */
static const PlanishReport *reduction_of(const PlanishPlugin *plugin, const PlanishAccount *account)
{
  for (uint32_t n = 0; n < account->report_count; ++n) {
    const PlanishReport *report = &account->reports[n];
    if (strcmp(plugin->ports[report->port].symbol, "reduction") == 0 && report->frames > 0) {
      return report;
    }
  }
  return NULL;
}

static void print_number(double value, int width, int digits)
{
  if (isfinite(value)) {
    planish_text_print(stdout, " %*.*f", width, digits, value);
  } else {
    planish_text_print(stdout, " %*s", width, "-");
  }
}

/* One column a stage that reports a reduction, whichever row has one. */
static bool has_column(const PlanishMasterJob *job, uint32_t stage)
{
  const PlanishPlugin *plugin = job->sheet->stages[stage].plugin;
  const int port = planish_plugin_find(plugin, "reduction");
  return port >= 0 && plugin->ports[port].kind == PLANISH_PLUGIN_CONTROL_OUTPUT;
}

static const PlanishSheet *sheet_of(const PlanishMasterJob *job, const PlanishPriceRow *row)
{
  return row->sheet == NULL ? job->sheet : row->sheet;
}

/* What a stage of the job reports in a row; NAN: it is not in there. */
static double reduction_in(const PlanishMasterJob *job, const PlanishPriceRow *row, uint32_t stage)
{
  const PlanishSheet *sheet = sheet_of(job, row);
  const char *name = job->sheet->stages[stage].name;
  uint32_t n = 0;
  while (n < sheet->stage_count && strcmp(sheet->stages[n].name, name) != 0) {
    n += 1;
  }
  const PlanishReport *reduction =
      n < row->report.account_count
          ? reduction_of(sheet->stages[n].plugin, &row->report.accounts[n])
          : NULL;
  return reduction == NULL ? (double)NAN : (double)reduction->highest;
}

static double drive_of(const PlanishPriceRow *row)
{
  return row->report.has_drive ? row->report.extra_drive : (double)NAN;
}

/* NULL where there is no account. */
static const PlanishDistortion *account_of(const PlanishPrice *price)
{
  const bool there = price->has_distortion && price->distortion.status == PLANISH_DISTORTION_DONE;
  return there ? &price->distortion : NULL;
}

static void print_row(const PlanishMasterJob *job, const PlanishPriceRow *row)
{
  const PlanishMasterReport *report = &row->report;
  const PlanishPrice *price = &report->price;
  planish_text_print(stdout, "%-*s", LABEL, row->label);
  print_number(report->result.integrated, 8, 2);
  print_number(report->result.true_peak, 9, 2);
  print_number(report->result.plr, 7, 2);
  print_number(row->won, 6, 2);
  print_number(drive_of(row), 6, 2);
  print_number(price->known ? price->punch_master.full.punch : (double)NAN, 6, 2);
  print_number(price->known ? price->punch_master.low.punch : (double)NAN, 6, 2);
  const PlanishDistortion *account = account_of(price);
  print_number(account == NULL ? (double)NAN : account->distortion, 8, 1);
  print_number(account == NULL ? (double)NAN : 100.0 * account->audible, 8, 1);
  for (uint32_t n = 0; n < job->sheet->stage_count; ++n) {
    if (has_column(job, n)) {
      print_number(reduction_in(job, row, n), 6, 2);
    }
  }
  planish_text_print(stdout, "%s\n", row->reason == NULL ? "" : "  missed");
}

static void print_head(const PlanishMasterJob *job, const char *heading,
                       const PlanishPriceRow *first)
{
  const PlanishMasterReport *report = &first->report;
  planish_text_print(stdout, "mix       %s: %.2f LUFS, %.2f dBTP", planish_reader_path(job->mix),
                     report->mix.integrated, report->mix.true_peak);
  if (report->price.known) {
    planish_text_print(stdout, ", peak to loudness %.2f LU, punch %.2f dB, low %.2f dB",
                       report->mix.plr, report->price.punch_mix.full.punch,
                       report->price.punch_mix.low.punch);
  }
  planish_text_print(stdout, "\ninput     gain %+.2f dB\n\n", report->input_gain);
  planish_text_print(stdout, "%-*s %8s %9s %7s %6s %6s %6s %6s %8s %8s  %s\n", LABEL, heading,
                     "loudness", "true peak", "peak to", "won", "extra", "punch", "low", "distort.",
                     "audible", "largest reductions");
  planish_text_print(stdout, "%-*s %8s %9s %7s %6s %6s %6s %6s %8s %8s  dB:", LABEL, "", "LUFS",
                     "dBTP", "loudn.", "LU", "drive", "dB", "punch", "dB", "%");
  for (uint32_t n = 0; n < job->sheet->stage_count; ++n) {
    if (has_column(job, n)) {
      planish_text_print(stdout, " %s", job->sheet->stages[n].name);
    }
  }
  (void)putchar('\n');
}

void planish_price_table(const PlanishMasterJob *job, const char *heading,
                         const PlanishPriceRow *rows, uint32_t count)
{
  print_head(job, heading, rows);
  for (uint32_t n = 0; n < count; ++n) {
    print_row(job, &rows[n]);
  }
  (void)putchar('\n');
  for (uint32_t n = 0; n < count; ++n) {
    planish_text_print(stdout, "written   %s\n", rows[n].out);
  }
}

static void json_reductions(PlanishJson *json, const PlanishSheet *sheet,
                            const PlanishMasterReport *report)
{
  planish_json_array_begin(json, "largest_reductions");
  for (uint32_t n = 0; n < report->account_count; ++n) {
    const PlanishReport *reduction = reduction_of(sheet->stages[n].plugin, &report->accounts[n]);
    if (reduction != NULL) {
      planish_json_object_begin(json, NULL);
      planish_json_string(json, "stage", sheet->stages[n].name);
      planish_json_number(json, "db", (double)reduction->highest);
      planish_json_object_end(json);
    }
  }
  planish_json_array_end(json);
}

static void json_price(PlanishJson *json, const PlanishPrice *price)
{
  const double none = (double)NAN;
  planish_json_number(json, "punch_db", price->known ? price->punch_master.full.punch : none);
  planish_json_number(json, "punch_mix_db", price->known ? price->punch_mix.full.punch : none);
  planish_json_number(json, "punch_low_db", price->known ? price->punch_master.low.punch : none);
  planish_json_number(json, "punch_low_mix_db", price->known ? price->punch_mix.low.punch : none);
  const PlanishDistortion *account = account_of(price);
  planish_json_number(json, "distortion_db", account == NULL ? none : account->distortion);
  planish_json_number(json, "audible_share", account == NULL ? none : account->audible);
}

static void json_row(PlanishJson *json, const PlanishMasterJob *job, const PlanishPriceRow *row)
{
  const PlanishMasterReport *report = &row->report;
  planish_json_object_begin(json, NULL);
  planish_json_string(json, "file", row->out);
  planish_json_number(json, "target_loudness_lufs", row->target);
  planish_json_string(json, "without", row->without);
  if (report->landing_wanted) {
    planish_json_bool(json, "landed", report->landing.state == PLANISH_LANDED);
  } else {
    planish_json_null(json, "landed");
  }
  planish_json_string(json, "reason", row->reason);
  planish_json_integer(json, "renders", row->without != NULL ? 1 : report->landing.renders);
  planish_json_number(json, "moved_to",
                      report->landing.task.has_loudness ? report->landing.best.control
                                                        : (double)NAN);
  planish_json_number(json, "ceilings_lowered_db", report->landing.best.lowering);
  planish_json_number(json, "extra_drive_db", drive_of(row));
  planish_json_number(json, "loudness_won_lu", row->won);
  json_price(json, &report->price);
  json_reductions(json, sheet_of(job, row), report);
  planish_measure_json(json, "master", row->out, &report->result);
  planish_json_object_end(json);
}

void planish_price_json(const PlanishMasterJob *job, const PlanishPriceRow *rows, uint32_t count)
{
  PlanishJson json = planish_json_on(stdout);
  planish_json_object_begin(&json, NULL);
  planish_measure_json(&json, "mix", planish_reader_path(job->mix), &rows[0].report.mix);
  planish_json_number(&json, "input_gain_db", rows[0].report.input_gain);
  planish_json_array_begin(&json, "masters");
  for (uint32_t n = 0; n < count; ++n) {
    json_row(&json, job, &rows[n]);
  }
  planish_json_array_end(&json);
  planish_json_object_end(&json);
}
