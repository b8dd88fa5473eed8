/* render --targets. */
#include "harness/program/several_masters.h"

#include "harness/base/text.h"
#include "harness/program/several_rows.h"
#include "harness/render/mastering.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One number of the list; `text` goes on behind it. */
static bool read_target(const char **text, double *target, PlanishError *error)
{
  char number[32];
  const size_t length = strcspn(*text, ",");
  planish_text_format(number, sizeof number, "%.*s", (int)(length < 31 ? length : 31), *text);
  if (!planish_text_number(number, target)) {
    return planish_fail(error, PLANISH_BAD_USE,
                        "no loudness: \"%s\" in --targets: give LUFS between commas, as "
                        "--targets=-8,-9.5,-12",
                        number);
  }
  *text += length;
  return true;
}

static bool add_target(const PlanishSeveralRequest *request, PlanishSeveralRows *rows,
                       double target, PlanishError *error)
{
  if (rows->count == PLANISH_SEVERAL_MOST) {
    return planish_fail(error, PLANISH_BAD_USE, "too many: --targets: give at most %d",
                        PLANISH_SEVERAL_MOST);
  }
  char suffix[32];
  planish_text_format(suffix, sizeof suffix, "%g", fabs(target));
  const bool done =
      planish_sheet_set_loudness(request->job->sheet, target, error) &&
      planish_several_add(request, rows, planish_text_new("%.2f LUFS", target), suffix, error);
  if (rows->count > 0) {
    rows->rows[rows->count - 1].target = target;
  }
  /* Targets nearer to each other than names tell apart would be one file. */
  for (uint32_t n = 0; done && n + 1 < rows->count; ++n) {
    if (strcmp(rows->outs[n], rows->outs[rows->count - 1]) == 0) {
      return planish_fail(error, PLANISH_BAD_USE, "twice in --targets: %g: give it once", target);
    }
  }
  return done;
}

static bool find_targets(const PlanishSeveralRequest *request, PlanishSeveralRows *rows,
                         const char *targets, PlanishError *error)
{
  for (const char *at = targets;; ++at) {
    double target = 0.0;
    if (!read_target(&at, &target, error) || !add_target(request, rows, target, error)) {
      return false;
    }
    if (*at == '\0') {
      return true;
    }
  }
}

static bool make_targets(const PlanishMasterJob *job, PlanishSeveralRows *rows, PlanishError *error)
{
  PlanishMastering *mastering = planish_mastering_new(job, error);
  bool done = mastering != NULL;
  for (uint32_t n = 0; done && n < rows->count; ++n) {
    done = planish_sheet_set_loudness(job->sheet, rows->rows[n].target, error) &&
           planish_several_land(mastering, job, rows, n, error);
  }
  done = done && planish_mastering_commit(mastering, error);
  planish_mastering_free(mastering);
  return done;
}

bool planish_render_targets(const PlanishSeveralRequest *request, const char *targets,
                            PlanishError *error)
{
  PlanishSeveralRows *rows = calloc(1, sizeof *rows);
  if (rows == NULL) {
    return planish_fail_memory(error);
  }
  const bool found = find_targets(request, rows, targets, error);
  return planish_several_make(request, rows, found, make_targets, "target", error);
}
