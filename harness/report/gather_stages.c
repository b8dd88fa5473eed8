/* What stages report over time, and the distortion account. */
#include "harness/report/gathering.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* By the symbols that stages use: a gain is signed, a reduction is what was taken off. */
static double sign_of(const PlanishPluginPort *port)
{
  const bool db = strcmp(port->unit, "dB") == 0;
  return db && strcmp(port->symbol, "reduction") == 0     ? -1.0
         : db && strcmp(port->symbol, "gain_change") == 0 ? 1.0
                                                          : 0.0;
}

static const PlanishPluginPort *port_of(const PlanishGathering *gathering,
                                        const PlanishSeries *series)
{
  return &gathering->job->master->sheet->stages[series->stage].plugin->ports[series->port];
}

/* The value furthest from 0; where nothing was reported, 0. */
static float furthest(const PlanishSeriesPoint *point, double sign)
{
  if (!isfinite(point->lowest) || !isfinite(point->highest)) {
    return 0.0f;
  }
  const double value = fabs((double)point->lowest) > fabs((double)point->highest)
                           ? (double)point->lowest
                           : (double)point->highest;
  return (float)(sign * value);
}

/* One series of gains, added to what stands at `to`. */
static void add_gains(const PlanishSeriesSet *set, const PlanishSeries *series, double sign,
                      float *to)
{
  for (uint32_t n = 0; n < set->points; ++n) {
    to[n] += furthest(&series->points[n], sign);
  }
}

bool planish_gather_gains(PlanishGathering *gathering, PlanishError *error)
{
  const PlanishSeriesSet *set = gathering->job->stages->series;
  const bool client = gathering->job->client;
  const double interval = (double)set->stretch / gathering->job->stages->rate;
  gathering->gains = calloc((size_t)set->count + 1, sizeof *gathering->gains);
  gathering->gain_values =
      calloc(((size_t)set->count + 1) * set->points, sizeof *gathering->gain_values);
  if (gathering->gains == NULL || gathering->gain_values == NULL) {
    return planish_fail_memory(error);
  }
  size_t found = 0;
  for (uint32_t n = 0; n < set->count; ++n) {
    const PlanishPluginPort *port = port_of(gathering, &set->series[n]);
    const PlanishSheetStage *stage = &gathering->job->master->sheet->stages[set->series[n].stage];
    const bool in_branch = stage->depth > 0;
    const double sign = sign_of(port);
    if (sign == 0.0 || (client && in_branch)) {
      continue;
    }
    const size_t at = client ? 0 : found;
    float *to = gathering->gain_values + at * set->points;
    add_gains(set, &set->series[n], sign, to);
    gathering->gains[at] = (PlanishReportGains){.stage = client ? "all stages" : stage->name,
                                                .control = client ? "gain" : port->name,
                                                .gains = to,
                                                .count = set->points,
                                                .interval = interval,
                                                .in_branch = in_branch};
    found = at + 1;
  }
  gathering->gain_count = found;
  return true;
}

static void fill_row(PlanishGatheredTable *table, size_t at, const char *name,
                     const PlanishDistortion *row)
{
  const double values[] = {row->loudness_won, row->gain_lowest,    row->gain_highest,
                           row->gain_mean,    row->level,          row->distortion,
                           row->nmr_p95,      100.0 * row->audible};
  table->rows[at].name = name;
  memcpy(table->values + at * 8, values, sizeof values);
}

bool planish_gather_account(PlanishGathering *gathering, PlanishError *error)
{
  static const char *const columns[] = {
      "won, LU",   "lowest gain, dB", "highest gain, dB",   "mean gain, dB",
      "level, dB", "distortion, dB",  "over mask, p95, dB", "audible, %"};
  static const int decimals[] = {2, 1, 1, 2, 1, 1, 1, 1};
  const PlanishReportJob *job = gathering->job;
  PlanishGatheredTable *table = &gathering->account;
  if (job->account == NULL || job->whole == NULL ||
      job->whole->status == PLANISH_DISTORTION_TOO_SHORT) {
    return true;
  }
  const uint32_t stages = job->client ? 0 : job->stages->count - 1;
  if (!planish_gathered_table_new(table, "stage", (size_t)stages + 1, 8, error)) {
    return false;
  }
  memcpy(table->columns, columns, sizeof columns);
  memcpy(table->decimals, decimals, sizeof decimals);
  for (uint32_t n = 0; n < stages; ++n) {
    fill_row(table, n, job->master->sheet->stages[job->stages->stages[n]].name, &job->account[n]);
  }
  fill_row(table, stages, "whole chain", job->whole);
  return true;
}
