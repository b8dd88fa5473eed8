#include "harness/sheet/sheet.h"
#include "harness/base/place.h"

#include "harness/base/text.h"
#include "harness/sheet/sheet_reading.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { LONGEST_PREROLL = 600 };

static void read_format(PlanishSheetReading *reading, const PlanishNode *node)
{
  double format = 0.0;
  if (node->kind != PLANISH_NODE_SCALAR || node->quoted ||
      !planish_text_number(node->text, &format) || format != PLANISH_SHEET_FORMAT) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "planish: an unknown format of sheet: this program reads %d",
                    PLANISH_SHEET_FORMAT);
  }
}

static void read_preroll(PlanishSheetReading *reading, const PlanishNode *node)
{
  reading->sheet->has_preroll = true;
  planish_sheet_number(node, "preroll", 0, LONGEST_PREROLL, "s", &reading->sheet->preroll,
                       reading->mistakes);
}

/* Names stages and is read after them, or is not for here. */
static void read_later(PlanishSheetReading *reading, const PlanishNode *node)
{
  (void)reading;
  (void)node;
}

static void read_after_stages(PlanishSheetReading *reading, const PlanishNode *root)
{
  const PlanishNode *target = planish_sheet_member(root, "target");
  const PlanishNode *automation = planish_sheet_member(root, "automation");
  if (planish_sheet_member(root, "stages") == NULL) {
    planish_mistake(reading->mistakes, root->line, root->column,
                    "no stages: add \"stages:\" and a list of them");
  }
  if (target != NULL && !target->bad) {
    planish_sheet_read_target(reading, target);
  }
  if (automation != NULL && !automation->bad) {
    planish_sheet_read_automation(reading, automation);
  }
}

static void read_root(PlanishSheetReading *reading, const PlanishNode *root)
{
  static const PlanishSheetMember members[] = {
      {"planish", read_format},
      {"input", planish_sheet_read_input},
      {"rate", planish_sheet_read_rate},
      {"preroll", read_preroll},
      {"target", read_later},
      {"stages", planish_sheet_read_stages},
      {"automation", read_later},
      {"head_silence", planish_sheet_read_head_silence},
      {"fade_in", planish_sheet_read_fade_in},
      {"fade_out", planish_sheet_read_fade_out},
      {"tail", planish_sheet_read_tail},
      {"recall", planish_sheet_read_recall},
  };
  const PlanishNode *first = root->kind == PLANISH_NODE_MAP ? root->first : NULL;
  if (first == NULL || first != planish_sheet_member(root, "planish")) {
    planish_mistake(reading->mistakes, root->line, root->column,
                    "no sheet of this program: it must begin with \"planish: %d\"",
                    PLANISH_SHEET_FORMAT);
  }
  if (root->kind == PLANISH_NODE_MAP) {
    planish_sheet_read_map(reading, root, "the sheet", members, PLANISH_LENGTH_OF(members), NULL);
    read_after_stages(reading, root);
  }
}

static int by_place(const void *a, const void *b)
{
  const PlanishError *x = a;
  const PlanishError *y = b;
  return x->line != y->line ? (x->line > y->line) - (x->line < y->line)
                            : (x->column > y->column) - (x->column < y->column);
}

PlanishSheet *planish_sheet_parse(const char *text, size_t size, PlanishHost *host, bool audition,
                                  PlanishMistakes *mistakes)
{
  PlanishNode *root = planish_sheet_tree_new(text, size, mistakes);
  if (root == NULL) {
    return NULL;
  }
  PlanishSheet *sheet = calloc(1, sizeof *sheet);
  if (sheet == NULL) {
    planish_mistake_memory(mistakes);
  } else {
    PlanishSheetReading reading = {
        .sheet = sheet, .host = host, .mistakes = mistakes, .audition = audition};
    read_root(&reading, root);
  }
  planish_sheet_tree_free(root);
  if (mistakes->count > 0) {
    qsort(mistakes->list, mistakes->count, sizeof *mistakes->list, by_place);
    planish_sheet_free(sheet);
    return NULL;
  }
  return sheet;
}

static char *read_text(const char *path, size_t *size, PlanishError *error)
{
  const int file = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
  struct stat facts;
  char *text = NULL;
  /* A socket cannot be opened at all. */
  const bool socket = file < 0 && errno == ENXIO;
  if (!socket && (file < 0 || fstat(file, &facts) != 0)) {
    planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s", planish_place_read_advice(errno));
  } else if (socket || !S_ISREG(facts.st_mode)) {
    planish_fail(error, PLANISH_BAD_USE,
                 "no sheet: a folder, pipe or device: name a file that holds a sheet");
  } else if (facts.st_size > PLANISH_SHEET_BYTES) {
    planish_fail(error, PLANISH_BAD_USE,
                 "no sheet: longer than 1 MB: name a sheet, which is a short YAML text");
  } else {
    text = malloc((size_t)facts.st_size + 1);
    *size = 0;
    ssize_t got = text == NULL ? -1 : 1;
    while (got > 0 && *size < (size_t)facts.st_size) {
      got = read(file, text + *size, (size_t)facts.st_size - *size);
      *size += got > 0 ? (size_t)got : 0;
    }
    if (got < 0) {
      planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s", planish_place_read_advice(errno));
      free(text);
      text = NULL;
    }
  }
  if (file >= 0) {
    close(file);
  }
  return text;
}

PlanishSheet *planish_sheet_read(const char *path, PlanishHost *host, bool audition,
                                 PlanishMistakes *mistakes)
{
  PlanishError error = {0};
  size_t size = 0;
  char *text = read_text(path, &size, &error);
  if (text == NULL) {
    const size_t before = mistakes->count;
    planish_mistake(mistakes, 0, 0, "%s", error.text);
    /* Without memory what stands there is not ours, and says so. */
    if (mistakes->count > before && mistakes->list[before].outcome == PLANISH_BAD_USE) {
      mistakes->list[before].outcome = error.outcome;
    }
    return NULL;
  }
  PlanishSheet *sheet = planish_sheet_parse(text, size, host, audition, mistakes);
  free(text);
  return sheet;
}

void planish_sheet_free(PlanishSheet *sheet)
{
  if (sheet == NULL) {
    return;
  }
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    planish_sheet_stage_free(&sheet->stages[n]);
  }
  for (uint32_t n = 0; n < sheet->automation_count; ++n) {
    free(sheet->automation[n].points);
  }
  planish_recall_note_free(sheet->recall);
  free(sheet->automation);
  free(sheet->stages);
  free(sheet->ceiling_at);
  free(sheet);
}

bool planish_sheet_is_branch(const PlanishSheetStage *stage)
{
  return stage->plugin == planish_branch_plugin();
}

uint32_t planish_sheet_next(const PlanishSheet *sheet, uint32_t from, uint32_t depth)
{
  while (from < sheet->stage_count && sheet->stages[from].depth != depth) {
    from += 1;
  }
  return from;
}

int planish_sheet_branch_of(const PlanishSheet *sheet, uint32_t stage)
{
  const uint32_t depth = sheet->stages[stage].depth;
  return depth == 0 ? -1 : (int)planish_sheet_next(sheet, stage, depth - 1);
}

uint64_t planish_sheet_frames(PlanishSheetTime time, double rate)
{
  return (uint64_t)(time.value * (time.in_frames ? 1.0 : rate) + 0.5);
}

const PlanishAutomation *planish_sheet_automation(const PlanishSheet *sheet,
                                                  const PlanishControl *control)
{
  for (uint32_t n = 0; n < sheet->automation_count; ++n) {
    const PlanishAutomation *automation = &sheet->automation[n];
    if (automation->control.stage == control->stage && automation->control.port == control->port) {
      return automation;
    }
  }
  return NULL;
}
