#include "harness/program/render_table.h"

#include "common/dsp/maths.h"
#include "harness/base/standard_streams.h"
#include "harness/base/text.h"
#include "harness/measure/measure_json.h"
#include "harness/program/figures.h"

#include <stdlib.h>
#include <string.h>

static void print_change(double in, double out, int width)
{
  char from[PLANISH_FIGURE];
  char to[PLANISH_FIGURE];
  char change[PLANISH_FIGURE];
  planish_figure(from, in, "");
  planish_figure(to, out, "");
  planish_figure_change(change, in, out, "");
  planish_text_print(stdout, "%*s -> %*s %*s", width, from, width, to, width, change);
}

static void print_mending(const PlanishMasterJob *job)
{
  const PlanishMending *mending = &job->sheet->mending;
  const double file_rate = planish_reader_file_rate(job->mix);
  const double rate = planish_reader_rate(job->mix);
  const char *before = "mended    ";
  if (mending->remove_dc) {
    planish_text_print(stdout, "%sDC of %+.6f left, %+.6f right taken out", before,
                       planish_reader_dc(job->mix, 0), planish_reader_dc(job->mix, 1));
    before = ", ";
  }
  for (int c = 0; c < 2; ++c) {
    if (mending->invert[c]) {
      planish_text_print(stdout, "%s%s inverted", before, c == 0 ? "left" : "right");
      before = ", ";
    }
  }
  if (mending->swap) {
    planish_text_print(stdout, "%sleft and right swapped", before);
    before = ", ";
  }
  if (mending->balance != 0.0) {
    planish_text_print(stdout, "%s%.2f dB to the %s", before, fabs(mending->balance),
                       mending->balance > 0.0 ? "right" : "left");
  }
  if (!planish_mending_is_neutral(mending)) {
    planish_text_print(stdout, "; the mix above is measured so\n");
  }
  if (file_rate != rate) {
    planish_text_print(stdout, "converted from %g Hz to %g Hz\n", file_rate, rate);
  }
}

static void print_input(const PlanishMasterJob *job, const PlanishMasterReport *report)
{
  char loudness[PLANISH_FIGURE];
  char peak[PLANISH_FIGURE];
  char working[64] = "";
  planish_figure(loudness, report->mix.integrated, "LUFS");
  planish_figure(peak, report->mix.true_peak, "dBTP");
  if (job->sheet->input == PLANISH_INPUT_LOUDNESS) {
    planish_text_format(working, sizeof working, ", to the working level of %.2f LUFS",
                        job->sheet->input_value);
  }
  planish_text_print(stdout, "mix       %s: %s, %s%s\n", planish_reader_path(job->mix), loudness,
                     peak,
                     planish_reader_channels(job->mix) == 1 ? ", mono: taken as dual mono" : "");
  print_mending(job);
  planish_text_print(stdout, "input     gain %+.2f dB%s\n", report->input_gain, working);
}

/* What tells of loudness match, while that is off: it stands still, or reads nothing. */
static bool is_idle(const char *symbol, const PlanishReport *report)
{
  static const char *const of_match[] = {"match_gain", "loudness_in", "loudness_out"};
  for (size_t n = 0; n < sizeof of_match / sizeof *of_match; ++n) {
    if (strcmp(symbol, of_match[n]) == 0) {
      return report->frames == 0 || report->lowest == report->highest;
    }
  }
  return false;
}

/* The longest symbol of what the stages report: all stand in one column. */
static int symbol_width(const PlanishSheet *sheet, const PlanishMasterReport *report)
{
  size_t width = 18;
  for (uint32_t stage = 0; stage < report->account_count; ++stage) {
    const PlanishAccount *account = &report->accounts[stage];
    for (uint32_t n = 0; n < account->report_count; ++n) {
      const PlanishPluginPort *port = &sheet->stages[stage].plugin->ports[account->reports[n].port];
      const size_t length = strlen(port->symbol);
      width = !is_idle(port->symbol, &account->reports[n]) && length > width ? length : width;
    }
  }
  return (int)width;
}

static double rounded(float value)
{
  return planish_text_unsigned_zero((double)value, 2);
}

static void print_report(const PlanishPluginPort *port, const PlanishReport *report)
{
  const char *gap = port->unit[0] == '\0' ? "" : " ";
  if (report->frames == 0) {
    planish_text_print(stdout, "%8s\n", "-");
  } else if (port->of_all) {
    planish_text_print(stdout, "%8.2f%s%s\n", rounded(report->last), gap, port->unit);
  } else {
    planish_text_print(stdout, "%8.2f to %8.2f, mean %8.2f%s%s\n", rounded(report->lowest),
                       rounded(report->highest),
                       planish_text_unsigned_zero(report->sum / (double)report->frames, 2), gap,
                       port->unit);
  }
}

static void print_reports(const PlanishPlugin *plugin, const PlanishAccount *account, int indent,
                          int width)
{
  for (uint32_t n = 0; n < account->report_count; ++n) {
    const PlanishPluginPort *port = &plugin->ports[account->reports[n].port];
    if (!is_idle(port->symbol, &account->reports[n])) {
      planish_text_print(stdout, "%*s    %-*s ", indent, "", width, port->symbol);
      print_report(port, &account->reports[n]);
    }
  }
}

/* Those in branches stand a step to the right, under their branch. */
static void print_stage(const PlanishSheetStage *stage, const PlanishAccount *account, int width)
{
  const int indent = 2 * (int)stage->depth;
  planish_text_print(stdout, "%*s%-*s ", indent, "", indent < 20 ? 20 - indent : 0, stage->name);
  print_change(account->loudness_in, account->loudness_out, 7);
  planish_text_print(stdout, "   ");
  print_change(account->sample_peak_in, account->sample_peak_out, 7);
  planish_text_print(stdout, "   %u frames\n", (unsigned)account->latency);
  print_reports(stage->plugin, account, indent, width);
}

static void print_path(const PlanishSheet *sheet, const PlanishMasterReport *report, uint32_t from,
                       uint32_t to, uint32_t depth, int width)
{
  for (uint32_t n = planish_sheet_next(sheet, from, depth); n < to;
       n = planish_sheet_next(sheet, n + 1, depth)) {
    const PlanishSheetStage *stage = &sheet->stages[n];
    print_stage(stage, &report->accounts[n], width);
    if (planish_sheet_is_branch(stage)) {
      print_path(sheet, report, stage->first, n, depth + 1, width);
    }
  }
}

static void print_stages(const PlanishMasterJob *job, const PlanishMasterReport *report)
{
  planish_text_print(stdout, "\n%-20s %27s   %27s   %s\n", "stage", "loudness, LUFS (LU)",
                     "sample peak, dBFS (dB)", "latency");
  print_path(job->sheet, report, 0, report->account_count, 0, symbol_width(job->sheet, report));
}

static void print_target(const PlanishMasterJob *job)
{
  const PlanishSheet *sheet = job->sheet;
  char loudness[PLANISH_FIGURE] = "any loudness";
  char ceiling[PLANISH_FIGURE] = "any true peak";
  if (!sheet->has_loudness && !sheet->has_ceiling) {
    return;
  }
  if (sheet->has_loudness) {
    planish_figure(loudness, sheet->loudness, "LUFS");
  }
  if (sheet->has_ceiling) {
    planish_figure(ceiling, sheet->ceiling, "dBTP");
  }
  planish_text_print(stdout, "target    %s, %s%s\n", loudness, ceiling,
                     job->excerpt ? " for the whole; an excerpt is not landed" : "");
}

static void print_result(const PlanishMasterJob *job, const PlanishMasterReport *report)
{
  const PlanishLanding *landing = &report->landing;
  const char *word = !report->landing_wanted            ? "result"
                     : landing->state == PLANISH_LANDED ? "landed"
                                                        : "missed";
  char loudness[PLANISH_FIGURE];
  char peak[PLANISH_FIGURE];
  planish_figure(loudness, report->result.integrated, "LUFS");
  planish_figure(peak, report->result.true_peak, "dBTP");
  planish_text_print(stdout, "%-9s %s, %s", word, loudness, peak);
  if (isfinite(report->result.plr)) {
    planish_text_print(stdout, ", peak to loudness %.2f LU", report->result.plr);
  }
  planish_text_print(stdout, ", %u render%s\n", landing->renders, landing->renders == 1 ? "" : "s");
  if (landing->task.has_loudness) {
    const PlanishControl *by = &job->sheet->by;
    const PlanishSheetStage *stage = &job->sheet->stages[by->stage];
    planish_text_print(stdout, "drive     %s.%s at %.2f %s", stage->name,
                       stage->plugin->ports[by->port].symbol, (double)stage->values[by->port],
                       stage->plugin->ports[by->port].unit);
    if (report->has_drive) {
      planish_text_print(stdout, ", extra drive %.2f dB%s",
                         planish_text_unsigned_zero(report->extra_drive, 2),
                         report->extra_drive >= PLANISH_DRIVE_WARNING ? ": pushed too hard" : "");
    }
    (void)putchar('\n');
  }
  if (report->price.has_distortion && report->price.distortion.status == PLANISH_DISTORTION_DONE) {
    planish_text_print(stdout, "price     distortion over the mask %.1f %% of the loudest %.0f s\n",
                       100.0 * report->price.distortion.audible,
                       (double)report->price.distortion.stretch.frames / report->result.rate);
  }
  if (landing->best.lowering > 0.0) {
    planish_text_print(stdout, "ceilings  lowered by %.3f dB to hold the true peak\n",
                       landing->best.lowering);
  }
}

static void print_written(const PlanishMasterJob *job, const PlanishMasterReport *report)
{
  const double rate = planish_reader_rate(job->mix);
  char time[PLANISH_TEXT_TIME];
  planish_text_print(stdout, "written   %s: WAV %s, %g Hz, %llu frames, %s\n",
                     planish_output_name(job->out),
                     job->word == PLANISH_WORD_24 ? "24 bit with dither" : "32-bit float", rate,
                     (unsigned long long)report->frames,
                     planish_text_of_time(time, (double)report->frames / rate));
  if (job->matched != NULL) {
    planish_text_print(stdout, "matched   %s: the same at the mix's loudness, %+.2f dB\n",
                       job->matched, report->matched_gain);
  }
}

void planish_render_table(const PlanishMasterJob *job, const PlanishMasterReport *report)
{
  print_input(job, report);
  print_stages(job, report);
  (void)putchar('\n');
  print_target(job);
  print_result(job, report);
  print_written(job, report);
}

static void json_stage(PlanishJson *json, const PlanishSheet *sheet, uint32_t index,
                       const PlanishAccount *account)
{
  const PlanishSheetStage *stage = &sheet->stages[index];
  const int branch = planish_sheet_branch_of(sheet, index);
  planish_json_object_begin(json, NULL);
  planish_json_string(json, "name", stage->name);
  planish_json_string(json, "branch", branch < 0 ? NULL : sheet->stages[branch].name);
  planish_json_string(json, "uri", stage->plugin->uri);
  planish_json_integer(json, "latency_frames", account->latency);
  planish_json_number(json, "loudness_in_lufs", account->loudness_in);
  planish_json_number(json, "loudness_out_lufs", account->loudness_out);
  planish_json_number(json, "sample_peak_in_dbfs", account->sample_peak_in);
  planish_json_number(json, "sample_peak_out_dbfs", account->sample_peak_out);
  planish_json_array_begin(json, "reports");
  for (uint32_t n = 0; n < account->report_count; ++n) {
    const PlanishReport *report = &account->reports[n];
    const bool any = report->frames > 0;
    planish_json_object_begin(json, NULL);
    planish_json_string(json, "symbol", stage->plugin->ports[report->port].symbol);
    planish_json_string(json, "unit", stage->plugin->ports[report->port].unit);
    planish_json_number(json, "lowest", any ? (double)report->lowest : (double)NAN);
    planish_json_number(json, "highest", any ? (double)report->highest : (double)NAN);
    planish_json_number(json, "mean", any ? report->sum / (double)report->frames : (double)NAN);
    planish_json_number(json, "last", any ? (double)report->last : (double)NAN);
    planish_json_object_end(json);
  }
  planish_json_array_end(json);
  planish_json_object_end(json);
}

static void json_mending(PlanishJson *json, const PlanishMasterJob *job)
{
  const PlanishMending *mending = &job->sheet->mending;
  planish_json_object_begin(json, "mix_mended");
  planish_json_number(json, "dc_removed_left", planish_reader_dc(job->mix, 0));
  planish_json_number(json, "dc_removed_right", planish_reader_dc(job->mix, 1));
  planish_json_bool(json, "left_inverted", mending->invert[0]);
  planish_json_bool(json, "right_inverted", mending->invert[1]);
  planish_json_bool(json, "swapped", mending->swap);
  planish_json_number(json, "balance_db", mending->balance);
  planish_json_object_end(json);
}

/* The recall file that stands beside the master; null: none was made. */
static void json_recall(PlanishJson *json, const PlanishMasterJob *job)
{
  char *path = job->made == NULL ? NULL : planish_text_new("%s.yaml", job->out);
  planish_json_string(json, "recall", path);
  free(path);
}

void planish_render_json(const PlanishMasterJob *job, const PlanishMasterReport *report,
                         const PlanishDistortionTable *price)
{
  const PlanishSheet *sheet = job->sheet;
  PlanishJson json = planish_json_on(stdout);
  planish_json_object_begin(&json, NULL);
  planish_measure_json(&json, "mix", planish_reader_path(job->mix), &report->mix);
  planish_json_number(&json, "mix_file_rate_hz", planish_reader_file_rate(job->mix));
  json_mending(&json, job);
  planish_json_number(&json, "input_gain_db", report->input_gain);
  planish_json_array_begin(&json, "stages");
  for (uint32_t n = 0; n < report->account_count; ++n) {
    json_stage(&json, sheet, n, &report->accounts[n]);
  }
  planish_json_array_end(&json);
  planish_json_number(&json, "target_loudness_lufs",
                      sheet->has_loudness ? sheet->loudness : (double)NAN);
  planish_json_number(&json, "target_ceiling_dbtp",
                      sheet->has_ceiling ? sheet->ceiling : (double)NAN);
  if (report->landing_wanted) {
    planish_json_bool(&json, "landed", report->landing.state == PLANISH_LANDED);
  } else {
    planish_json_null(&json, "landed");
  }
  planish_json_integer(&json, "renders", report->landing.renders);
  planish_json_number(&json, "moved_to",
                      report->landing.task.has_loudness ? report->landing.best.control
                                                        : (double)NAN);
  planish_json_number(&json, "ceilings_lowered_db", report->landing.best.lowering);
  planish_json_number(&json, "extra_drive_db",
                      report->has_drive ? report->extra_drive : (double)NAN);
  planish_json_number(&json, "audible_share_of_loudest_30_s",
                      report->price.has_distortion ? report->price.distortion.audible
                                                   : (double)NAN);
  planish_json_integer(&json, "clipped_samples", (int64_t)report->clipped);
  planish_measure_json(&json, "master", job->out, &report->result);
  planish_json_string(&json, "matched", job->matched);
  json_recall(&json, job);
  planish_distortion_table_json(&json, price);
  planish_json_object_end(&json);
}
