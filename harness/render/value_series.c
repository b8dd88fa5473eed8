#include "harness/render/value_series.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool is_reported(const PlanishPlugin *plugin, uint32_t port)
{
  return plugin->ports[port].kind == PLANISH_PLUGIN_CONTROL_OUTPUT && (int)port != plugin->latency;
}

static uint32_t count_series(const PlanishSheet *sheet)
{
  uint32_t count = 0;
  for (uint32_t stage = 0; stage < sheet->stage_count; ++stage) {
    const PlanishPlugin *plugin = sheet->stages[stage].plugin;
    for (uint32_t port = 0; port < plugin->port_count; ++port) {
      count += is_reported(plugin, port) ? 1 : 0;
    }
  }
  return count;
}

static bool add_series(PlanishSeriesSet *set, uint32_t stage, uint32_t port)
{
  PlanishSeries *series = &set->series[set->count];
  *series = (PlanishSeries){.stage = stage, .port = port};
  series->points = malloc(set->points * sizeof *series->points);
  if (series->points == NULL) {
    return false;
  }
  set->count += 1;
  for (uint32_t n = 0; n < set->points; ++n) {
    series->points[n] = (PlanishSeriesPoint){NAN, NAN};
  }
  return true;
}

static bool add_all(PlanishSeriesSet *set, const PlanishSheet *sheet)
{
  set->series = calloc((size_t)count_series(sheet) + 1, sizeof *set->series);
  bool done = set->series != NULL;
  for (uint32_t stage = 0; done && stage < sheet->stage_count; ++stage) {
    const PlanishPlugin *plugin = sheet->stages[stage].plugin;
    for (uint32_t port = 0; done && port < plugin->port_count; ++port) {
      done = !is_reported(plugin, port) || add_series(set, stage, port);
    }
  }
  return done;
}

PlanishSeriesSet *planish_series_new(const PlanishSheet *sheet, double rate, uint64_t frames,
                                     PlanishError *error)
{
  PlanishSeriesSet *set = calloc(1, sizeof *set);
  if (set == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  const uint64_t shortest = (uint64_t)ceil(PLANISH_SERIES_STRETCH * rate);
  const uint64_t fitting = (frames + PLANISH_SERIES_POINTS - 1) / PLANISH_SERIES_POINTS;
  set->frames = frames;
  set->stretch = fitting > shortest ? fitting : shortest;
  set->points = (uint32_t)((frames + set->stretch - 1) / set->stretch);
  if (!add_all(set, sheet)) {
    planish_fail_memory(error);
    planish_series_free(set);
    return NULL;
  }
  return set;
}

void planish_series_free(PlanishSeriesSet *set)
{
  if (set == NULL) {
    return;
  }
  for (uint32_t n = 0; n < set->count; ++n) {
    free(set->series[n].points);
  }
  free(set->series);
  free(set);
}

void planish_series_take(void *user, const PlanishReported *reported)
{
  PlanishSeriesSet *set = user;
  const uint64_t first = reported->first / set->stretch;
  const uint64_t last = (reported->first + reported->frames - 1) / set->stretch;
  for (uint32_t n = 0; n < set->count; ++n) {
    const PlanishSeries *series = &set->series[n];
    if (series->stage != reported->stage || series->port != reported->port) {
      continue;
    }
    for (uint64_t at = first; at <= last && at < set->points; ++at) {
      PlanishSeriesPoint *point = &series->points[at];
      point->lowest = fminf(point->lowest, reported->value);
      point->highest = fmaxf(point->highest, reported->value);
    }
  }
}

const PlanishSeries *planish_series_find(const PlanishSeriesSet *set, const PlanishSheet *sheet,
                                         uint32_t stage, const char *symbol)
{
  for (uint32_t n = 0; n < set->count; ++n) {
    const PlanishSeries *series = &set->series[n];
    const PlanishPlugin *plugin = sheet->stages[series->stage].plugin;
    if (series->stage == stage && strcmp(plugin->ports[series->port].symbol, symbol) == 0) {
      return series;
    }
  }
  return NULL;
}

/* fmaxf() leaves out what is no number. */
static float distance(const PlanishSeriesPoint *point)
{
  return fmaxf(fmaxf(fabsf(point->lowest), fabsf(point->highest)), 0.0f);
}

static bool is_near(const PlanishSeriesSet *set, uint32_t point, const uint32_t *places,
                    uint32_t count, uint64_t apart)
{
  for (uint32_t n = 0; n < count; ++n) {
    const uint64_t points = point > places[n] ? point - places[n] : places[n] - point;
    if (points * set->stretch < apart || points == 0) {
      return true;
    }
  }
  return false;
}

uint32_t planish_series_hardest(const PlanishSeriesSet *set, const PlanishSeries *series,
                                uint32_t wanted, uint64_t apart, uint32_t *places)
{
  uint32_t count = 0;
  for (bool found = true; found && count < wanted;) {
    float farthest = 0.0f;
    found = false;
    for (uint32_t n = 0; n < set->points; ++n) {
      const float here = distance(&series->points[n]);
      if (here > farthest && !is_near(set, n, places, count, apart)) {
        farthest = here;
        places[count] = n;
        found = true;
      }
    }
    count += found ? 1 : 0;
  }
  return count;
}
