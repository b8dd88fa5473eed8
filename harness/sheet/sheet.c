#include "harness/sheet/sheet.h"

#include "harness/base/text.h"
#include "harness/sheet/sheet_reading.h"
#include "harness/sheet/sheet_text.h"

#include <stdlib.h>
#include <string.h>

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

void planish_sheet_read_root(PlanishSheetReading *reading, const PlanishNode *root)
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
      {"tail_silence", planish_sheet_read_tail_silence},
      {"variants", read_later},
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

/* `name` is that of the variant that is wanted; NULL: the sheet itself. */
static PlanishSheet *parse(const char *text, size_t size, const char *name, PlanishHost *host,
                           bool audition, PlanishMistakes *mistakes)
{
  PlanishNode *root = planish_sheet_tree_new(text, size, mistakes);
  if (root == NULL) {
    return NULL;
  }
  PlanishSheet *sheet = calloc(1, sizeof *sheet);
  if (sheet == NULL) {
    planish_mistake_memory(mistakes);
  } else if (name == NULL || planish_sheet_become_variant(root, name, mistakes)) {
    PlanishSheetReading reading = {
        .sheet = sheet, .host = host, .mistakes = mistakes, .audition = audition};
    planish_sheet_read_root(&reading, root);
    planish_sheet_read_variants(&reading, root);
  }
  planish_sheet_tree_free(root);
  if (mistakes->count > 0) {
    planish_mistakes_sort(mistakes);
    planish_sheet_free(sheet);
    return NULL;
  }
  return sheet;
}

PlanishSheet *planish_sheet_parse(const char *text, size_t size, PlanishHost *host, bool audition,
                                  PlanishMistakes *mistakes)
{
  return parse(text, size, NULL, host, audition, mistakes);
}

PlanishSheet *planish_sheet_read_variant(const char *path, const char *name, PlanishHost *host,
                                         bool audition, PlanishMistakes *mistakes)
{
  size_t size = 0;
  char *text = planish_sheet_text_read(path, &size, mistakes);
  if (text == NULL) {
    return NULL;
  }
  PlanishSheet *sheet = parse(text, size, name, host, audition, mistakes);
  free(text);
  return sheet;
}

PlanishSheet *planish_sheet_read(const char *path, PlanishHost *host, bool audition,
                                 PlanishMistakes *mistakes)
{
  return planish_sheet_read_variant(path, NULL, host, audition, mistakes);
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
  for (uint32_t n = 0; n < sheet->variant_count; ++n) {
    free(sheet->variants[n]);
  }
  free(sheet->variants);
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
