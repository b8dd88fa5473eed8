/* render --variants. */
#include "harness/program/several_masters.h"

#include "harness/base/text.h"
#include "harness/program/opening.h"
#include "harness/program/several_rows.h"
#include "harness/render/mastering.h"

#include <stdlib.h>
#include <string.h>

/* Opens the sheet of a variant and adds its row. */
static bool add(const PlanishSeveralRequest *request, PlanishSeveralRows *rows, const char *name,
                PlanishError *error)
{
  for (uint32_t n = 0; n < rows->count; ++n) {
    if (strcmp(rows->labels[n], name) == 0) {
      return planish_fail(error, PLANISH_BAD_USE, "twice in --variants: %s: give it once", name);
    }
  }
  PlanishSheet *sheet = request->open_variant(request->user, name, error);
  if (sheet == NULL) {
    return false;
  }
  rows->sheets[rows->count] = sheet;
  rows->rows[rows->count].sheet = sheet;
  const bool done = planish_several_add(request, rows, planish_text_copy(name), name, error);
  if (sheet->has_loudness) {
    rows->rows[rows->count - 1].target = sheet->loudness;
  }
  return done;
}

static bool check_name(const PlanishSheet *sheet, const char *name, PlanishError *error)
{
  PlanishNearest nearest = planish_nearest_to(name);
  for (uint32_t n = 0; n < sheet->variant_count; ++n) {
    if (strcmp(sheet->variants[n], name) == 0) {
      return true;
    }
    planish_nearest_consider(&nearest, sheet->variants[n]);
  }
  return nearest.best != NULL
             ? planish_fail(error, PLANISH_BAD_USE,
                            "no variant of this name in the sheet: --variants: \"%s\": did you "
                            "mean %s?",
                            name, nearest.best)
             : planish_fail(error, PLANISH_BAD_USE,
                            "no variant of this name in the sheet: --variants: \"%s\": give names "
                            "between commas, or all",
                            name);
}

static bool find_named(const PlanishSeveralRequest *request, PlanishSeveralRows *rows,
                       const char *names, PlanishError *error)
{
  bool done = true;
  for (const char *at = names; done && at != NULL;) {
    const size_t length = strcspn(at, ",");
    char *name = planish_text_new("%.*s", (int)length, at);
    done = name != NULL
               ? check_name(request->job->sheet, name, error) && add(request, rows, name, error)
               : planish_fail_memory(error);
    at = at[length] == ',' ? at + length + 1 : NULL;
    free(name);
  }
  return done;
}

static bool find(const PlanishSeveralRequest *request, PlanishSeveralRows *rows, const char *names,
                 PlanishError *error)
{
  const PlanishSheet *sheet = request->job->sheet;
  if (sheet->variant_count == 0) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "no variants in the sheet: --variants: list them there under "
                        "\"variants:\", or leave it out");
  }
  if (strcmp(names, PLANISH_ALL_VARIANTS) != 0) {
    return find_named(request, rows, names, error);
  }
  bool done = true;
  for (uint32_t n = 0; done && n < sheet->variant_count; ++n) {
    done = add(request, rows, sheet->variants[n], error);
  }
  return done;
}

static bool make_variants(const PlanishMasterJob *job, PlanishSeveralRows *rows,
                          PlanishError *error)
{
  PlanishMasterJob own = *job;
  own.sheet = rows->sheets[0];
  PlanishMastering *mastering = planish_mastering_new(&own, error);
  bool done = mastering != NULL;
  for (uint32_t n = 1; done && n < rows->count; ++n) {
    planish_mastering_share(mastering, rows->sheets[n]);
  }
  for (uint32_t n = 0; done && n < rows->count; ++n) {
    own.sheet = rows->sheets[n];
    done = planish_mastering_turn(mastering, own.sheet, error) &&
           planish_several_land(mastering, &own, rows, n, error);
  }
  done = done && planish_mastering_commit(mastering, error);
  planish_mastering_free(mastering);
  return done;
}

bool planish_render_variants(const PlanishSeveralRequest *request, const char *names,
                             PlanishError *error)
{
  PlanishSeveralRows *rows = calloc(1, sizeof *rows);
  if (rows == NULL) {
    return planish_fail_memory(error);
  }
  const bool found = find(request, rows, names, error);
  return planish_several_make(request, rows, found, make_variants, "variant", error);
}
