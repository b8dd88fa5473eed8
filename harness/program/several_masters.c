#include "harness/program/several_masters.h"

#include "harness/base/text.h"
#include "harness/program/price_table.h"
#include "harness/program/progress.h"
#include "harness/program/warnings.h"
#include "harness/recall/recall_file.h"
#include "harness/render/mastering.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { MOST = 32, REASON = 480 };

/* Rows, and the texts that they point to. */
typedef struct {
  PlanishPriceRow rows[MOST + 1];
  uint32_t stages[MOST + 1]; /* that are left out */
  char *labels[MOST + 1];
  char *outs[MOST + 1];
  char reasons[MOST + 1][REASON];
  uint32_t count;
} Rows;

static void free_rows(Rows *rows)
{
  for (uint32_t n = 0; n < rows->count; ++n) {
    planish_master_report_free(&rows->rows[n].report);
    free(rows->labels[n]);
    free(rows->outs[n]);
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

/* Takes over `label`, which may be NULL (no memory). `suffix` NULL: OUT as it is. */
static bool add_row(const PlanishSeveralRequest *request, Rows *rows, char *label,
                    const char *suffix, PlanishError *error)
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

static bool land(PlanishMastering *mastering, const PlanishMasterJob *job, Rows *rows, uint32_t n,
                 PlanishError *error)
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
static bool tell(const PlanishSeveralRequest *request, const char *heading, const Rows *rows,
                 PlanishError *error)
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

static bool add_target(const PlanishSeveralRequest *request, Rows *rows, double target,
                       PlanishError *error)
{
  for (uint32_t n = 0; n < rows->count; ++n) {
    if (rows->rows[n].target == target) {
      return planish_fail(error, PLANISH_BAD_USE, "twice in --targets: %g: give it once", target);
    }
  }
  if (rows->count == MOST) {
    return planish_fail(error, PLANISH_BAD_USE, "too many: --targets: give at most %d", MOST);
  }
  char suffix[32];
  planish_text_format(suffix, sizeof suffix, "%g", fabs(target));
  const bool done = planish_sheet_set_loudness(request->job->sheet, target, error) &&
                    add_row(request, rows, planish_text_new("%.2f LUFS", target), suffix, error);
  if (rows->count > 0) {
    rows->rows[rows->count - 1].target = target;
  }
  return done;
}

static bool find_targets(const PlanishSeveralRequest *request, Rows *rows, const char *targets,
                         PlanishError *error)
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

static bool make_targets(const PlanishMasterJob *job, Rows *rows, PlanishError *error)
{
  PlanishMastering *mastering = planish_mastering_new(job, error);
  bool done = mastering != NULL;
  for (uint32_t n = 0; done && n < rows->count; ++n) {
    done = planish_sheet_set_loudness(job->sheet, rows->rows[n].target, error) &&
           land(mastering, job, rows, n, error);
  }
  done = done && planish_mastering_commit(mastering, error);
  planish_mastering_free(mastering);
  return done;
}

/* Makes the masters of `rows` with progress told, then the table under `heading`, and gives the
 * rows back. `found` false: `error` says why there is nothing to make. */
static bool make_and_tell(const PlanishSeveralRequest *request, Rows *rows, bool found,
                          bool (*make)(const PlanishMasterJob *job, Rows *rows,
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

bool planish_render_targets(const PlanishSeveralRequest *request, const char *targets,
                            PlanishError *error)
{
  Rows *rows = calloc(1, sizeof *rows);
  if (rows == NULL) {
    return planish_fail_memory(error);
  }
  const bool found = find_targets(request, rows, targets, error);
  return make_and_tell(request, rows, found, make_targets, "target", error);
}

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

static bool find_without(const PlanishSeveralRequest *request, Rows *rows,
                         const PlanishOptionTexts *names, PlanishError *error)
{
  if (names->count > MOST) {
    return planish_fail(error, PLANISH_BAD_USE, "too many: --without: give at most %d", MOST);
  }
  bool done = add_row(request, rows, planish_text_copy("the whole chain"), NULL, error);
  for (size_t n = 0; done && n < names->count; ++n) {
    const char *name = names->list[n];
    if (is_named_twice(names, n)) {
      return planish_fail(error, PLANISH_BAD_USE, "twice: --without %s: give it once", name);
    }
    char *suffix = planish_text_new("without-%s", name);
    uint32_t stage = 0;
    done = suffix != NULL ? find_stage(request->job->sheet, name, &stage, error)
                          : planish_fail_memory(error);
    done = done && add_row(request, rows, planish_text_new("without %s", name), suffix, error);
    rows->rows[rows->count - 1].without = done ? name : NULL;
    rows->stages[rows->count - 1] = stage;
    free(suffix);
  }
  return done;
}

static bool make_without(const PlanishMasterJob *job, Rows *rows, PlanishError *error)
{
  PlanishMastering *mastering = planish_mastering_new(job, error);
  bool done = mastering != NULL && land(mastering, job, rows, 0, error);
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
  Rows *rows = calloc(1, sizeof *rows);
  if (rows == NULL) {
    return planish_fail_memory(error);
  }
  const bool found = find_without(request, rows, names, error);
  return make_and_tell(request, rows, found, make_without, "", error);
}
