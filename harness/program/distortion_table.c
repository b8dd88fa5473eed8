#include "harness/program/distortion_table.h"

#include "harness/base/text.h"
#include "harness/base/workers.h"
#include "harness/distortion/distortion_json.h"
#include "harness/program/options.h"

#include <math.h>
#include <stdlib.h>

static void tell_account(void *user, double share)
{
  const PlanishMasterJob *job = user;
  if (job->told != NULL) {
    job->told(job->told_user, "account", 0, share);
  }
}

static bool account(PlanishMasterJob *job, const PlanishStageTracks *tracks,
                    PlanishDistortionTable *price, PlanishError *error)
{
  const uint32_t count = tracks->count - 1;
  const unsigned threads = planish_workers_processors() > 1 ? 2 : 1;
  price->rate = tracks->rate;
  price->count = count;
  price->stages = calloc((size_t)count + 1, sizeof *price->stages);
  price->names = calloc((size_t)count + 1, sizeof *price->names);
  for (uint32_t n = 0; price->names != NULL && n < count; ++n) {
    price->names[n] = job->sheet->stages[tracks->stages[n]].name;
  }
  return price->stages != NULL && price->names != NULL
             ? planish_distortion_chain(tracks->tracks, count, tracks->rate, threads, tell_account,
                                        job, price->stages, &price->whole, error)
             : planish_fail_memory(error);
}

PlanishDistortionTable *planish_distortion_table_new(const PlanishMasterJob *job,
                                                     const PlanishStageTracks *tracks,
                                                     PlanishError *error)
{
  PlanishMasterJob wanted = *job;
  PlanishDistortionTable *price = calloc(1, sizeof *price);
  if (price == NULL) {
    planish_fail_memory(error);
    return NULL;
  }
  if (!account(&wanted, tracks, price, error)) {
    planish_distortion_table_free(price);
    return NULL;
  }
  return price;
}

void planish_distortion_table_free(PlanishDistortionTable *price)
{
  if (price != NULL) {
    free(price->stages);
    free(price->names);
    free(price);
  }
}

static void print_row(const char *name, const PlanishDistortion *row)
{
  planish_text_print(stdout, "%-20s ", name);
  if (isfinite(row->loudness_won)) {
    planish_text_print(stdout, "%+7.2f", row->loudness_won);
  } else {
    planish_text_print(stdout, "%7s", "-");
  }
  if (row->status != PLANISH_DISTORTION_DONE) {
    planish_text_print(stdout, "   %s\n", planish_distortion_words(row->status));
    return;
  }
  planish_text_print(stdout, "   %+6.2f to %+6.2f, mean %5.2f  %8.1f %10.1f %12.1f %8.1f %%\n",
                     row->gain_lowest, row->gain_highest, row->gain_mean, row->level,
                     row->distortion, row->nmr_p95, 100.0 * row->audible);
}

void planish_distortion_table_print(const PlanishMasterJob *job,
                                    const PlanishDistortionTable *price)
{
  const PlanishDistortion *whole = &price->whole;
  if (whole->status == PLANISH_DISTORTION_TOO_SHORT) {
    planish_text_print(stdout, "account   %s\n", planish_distortion_words(whole->status));
    return;
  }
  const double from = (double)whole->stretch.first / price->rate;
  planish_text_print(
      stdout,
      "\naccount   loudness won at equal true peak, and what it cost; gains, level and\n"
      "          distortion (dB re the result) over %.0f s from %d:%04.1f on%s\n\n"
      "%-20s %7s   %-28s  %8s %10s %12s %10s\n",
      (double)whole->stretch.frames / price->rate, (int)(from / 60.0), fmod(from, 60.0),
      whole->stretch.frames < job->to - job->from ? ", the loudest" : "", "stage", "won, LU",
      "gain moves, dB", "level", "distortion", "NMR p95, dB", "audible");
  for (uint32_t n = 0; n < price->count; ++n) {
    print_row(price->names[n], &price->stages[n]);
  }
  print_row("whole chain", whole);
  planish_text_print(
      stdout,
      "\n          A limiter's change is mostly level, a clipper's mostly distortion;\n"
      "          the part of a clipper's change that is a loss of gain counts as neither.\n");
}

void planish_distortion_table_json(PlanishJson *json, const PlanishDistortionTable *price)
{
  if (price == NULL) {
    planish_json_null(json, "account");
    return;
  }
  planish_json_object_begin(json, "account");
  planish_distortion_json(json, "whole", NULL, price->rate, &price->whole);
  planish_json_array_begin(json, "stages");
  for (uint32_t n = 0; n < price->count; ++n) {
    planish_distortion_json(json, NULL, price->names[n], price->rate, &price->stages[n]);
  }
  planish_json_array_end(json);
  planish_json_object_end(json);
}

void planish_distortion_table_warn(const PlanishDistortionTable *price)
{
  if (!planish_distortion_ruins(&price->whole)) {
    return;
  }
  uint32_t worst = 0;
  for (uint32_t n = 1; n < price->count; ++n) {
    worst = price->stages[n].audible > price->stages[worst].audible ? n : worst;
  }
  planish_options_warn("distortion is over the mask %.0f %% of the time, most of it from stage %s: "
                       "listen at matched loudness, or ask for less",
                       100.0 * price->whole.audible, price->names[worst]);
}
