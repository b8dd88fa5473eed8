/* render --without. */
#include "harness/program/several_masters.h"

#include "harness/base/text.h"
#include "harness/program/several_rows.h"
#include "harness/render/mastering.h"

#include <stdlib.h>
#include <string.h>

/* Without it nothing would be left for its branch to do. */
static bool is_alone(const PlanishSheet *sheet, uint32_t stage)
{
  const int branch = planish_sheet_branch_of(sheet, stage);
  const uint32_t depth = sheet->stages[stage].depth;
  return branch >= 0 && planish_sheet_next(sheet, sheet->stages[branch].first, depth) == stage &&
         planish_sheet_next(sheet, stage + 1, depth) > (uint32_t)branch;
}

static bool find_stage(const PlanishSheet *sheet, const char *name, uint32_t *stage,
                       PlanishError *error)
{
  PlanishNearest nearest = planish_nearest_to(name);
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    if (strcmp(sheet->stages[n].name, name) == 0) {
      *stage = n;
      return !is_alone(sheet, n) ||
             planish_fail(error, PLANISH_BAD_USE,
                          "the only stage of its branch: --without %s: leave out the branch: "
                          "--without %s",
                          name, sheet->stages[planish_sheet_branch_of(sheet, n)].name);
    }
    planish_nearest_consider(&nearest, sheet->stages[n].name);
  }
  return nearest.best != NULL
             ? planish_fail(error, PLANISH_BAD_USE,
                            "no stage of this name in the sheet: --without %s: did you mean %s?",
                            name, nearest.best)
             : planish_fail(error, PLANISH_BAD_USE,
                            "no stage of this name in the sheet: --without %s: give a stage's name",
                            name);
}

static bool is_named_twice(const PlanishOptionTexts *names, size_t n)
{
  for (size_t i = 0; i < n; ++i) {
    if (strcmp(names->list[i], names->list[n]) == 0) {
      return true;
    }
  }
  return false;
}

static bool find_without(const PlanishSeveralRequest *request, PlanishSeveralRows *rows,
                         const PlanishOptionTexts *names, PlanishError *error)
{
  if (names->count > PLANISH_SEVERAL_MOST) {
    return planish_fail(error, PLANISH_BAD_USE, "too many: --without: give at most %d",
                        PLANISH_SEVERAL_MOST);
  }
  bool done = planish_several_add(request, rows, planish_text_copy("the whole chain"), NULL, error);
  for (size_t n = 0; done && n < names->count; ++n) {
    const char *name = names->list[n];
    if (is_named_twice(names, n)) {
      return planish_fail(error, PLANISH_BAD_USE, "twice: --without %s: give it once", name);
    }
    char *suffix = planish_text_new("without-%s", name);
    uint32_t stage = 0;
    done = suffix != NULL ? find_stage(request->job->sheet, name, &stage, error)
                          : planish_fail_memory(error);
    done = done &&
           planish_several_add(request, rows, planish_text_new("without %s", name), suffix, error);
    rows->rows[rows->count - 1].without = done ? name : NULL;
    rows->stages[rows->count - 1] = stage;
    free(suffix);
  }
  return done;
}

static bool make_without(const PlanishMasterJob *job, PlanishSeveralRows *rows, PlanishError *error)
{
  PlanishMastering *mastering = planish_mastering_new(job, error);
  bool done = mastering != NULL && planish_several_land(mastering, job, rows, 0, error);
  if (done && job->matched != NULL) {
    done = planish_mastering_match(mastering, job->matched, &rows->rows[0].report, error);
  }
  for (uint32_t n = 1; done && n < rows->count; ++n) {
    PlanishPriceRow *row = &rows->rows[n];
    done = planish_mastering_without(mastering, rows->stages[n], row->out, &row->report, error) &&
           planish_mastering_price(mastering, &row->report, error);
    row->won = row->report.result.plr - rows->rows[0].report.result.plr;
  }
  done = done && planish_mastering_commit(mastering, error);
  planish_mastering_free(mastering);
  return done;
}

bool planish_render_without(const PlanishSeveralRequest *request, const PlanishOptionTexts *names,
                            PlanishError *error)
{
  PlanishSeveralRows *rows = calloc(1, sizeof *rows);
  if (rows == NULL) {
    return planish_fail_memory(error);
  }
  const bool found = find_without(request, rows, names, error);
  return planish_several_make(request, rows, found, make_without, "", error);
}
