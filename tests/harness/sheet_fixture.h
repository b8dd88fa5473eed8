/* Sheets for tests: read from text, written to text, held against each other. */
#ifndef PLANISH_TESTS_SHEET_FIXTURE_H
#define PLANISH_TESTS_SHEET_FIXTURE_H

#include "harness/sheet/sheet.h"
#include "harness/sheet/sheet_write.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* NULL, and the mistakes on standard error, where there are any. */
static inline PlanishSheet *sheet_of(PlanishHost *host, const char *text)
{
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = planish_sheet_parse(text, strlen(text), host, false, &mistakes);
  for (size_t n = 0; n < mistakes.count; ++n) {
    print_error("%d:%d %s\nin\n%s\n", mistakes.list[n].line, mistakes.list[n].column,
                mistakes.list[n].text, text);
  }
  planish_mistakes_free(&mistakes);
  return sheet;
}

/* free() gives it back. */
static inline char *text_of_sheet(const PlanishSheet *sheet, const PlanishSheetWriting *writing)
{
  /* Static, since gcc 12 takes what is returned for its address. */
  static char *text;
  static size_t size;
  FILE *stream = open_memstream(&text, &size);
  planish_sheet_write(stream, sheet, writing);
  fclose(stream);
  return text;
}

static inline bool same_time(PlanishSheetTime a, PlanishSheetTime b)
{
  return a.value == b.value && (a.value == 0.0 || a.in_frames == b.in_frames);
}

static inline bool same_fade(const PlanishFade *a, const PlanishFade *b)
{
  return same_time(a->length, b->length) && a->shape == b->shape;
}

static inline bool same_control(const PlanishControl *a, const PlanishControl *b)
{
  return a->stage == b->stage && a->port == b->port;
}

/* `values_alone`: not which of them the sheet names, nor its presets. */
static inline bool same_stage(const PlanishSheetStage *a, const PlanishSheetStage *b,
                              bool values_alone)
{
  bool same = strcmp(a->name, b->name) == 0 && a->plugin == b->plugin;
  for (uint32_t n = 0; same && n < a->plugin->port_count; ++n) {
    same = a->values[n] == b->values[n] && (values_alone || a->given[n] == b->given[n]);
  }
  const char *own = a->preset == NULL ? "" : a->preset;
  return same && (values_alone || strcmp(own, b->preset == NULL ? "" : b->preset) == 0);
}

static inline bool same_automation(const PlanishAutomation *a, const PlanishAutomation *b)
{
  bool same = same_control(&a->control, &b->control) && a->count == b->count;
  for (uint32_t n = 0; same && n < a->count; ++n) {
    same = same_time(a->points[n].at, b->points[n].at) &&
           a->points[n].value == b->points[n].value && a->points[n].step == b->points[n].step;
  }
  return same;
}

static inline bool same_sheet(const PlanishSheet *a, const PlanishSheet *b, bool values_alone)
{
  bool same = a->input == b->input && a->input_value == b->input_value &&
              a->mending.balance == b->mending.balance && a->mending.swap == b->mending.swap &&
              a->mending.invert[0] == b->mending.invert[0] &&
              a->mending.invert[1] == b->mending.invert[1] &&
              a->mending.remove_dc == b->mending.remove_dc && a->rate == b->rate &&
              a->has_preroll == b->has_preroll && a->preroll == b->preroll &&
              a->has_loudness == b->has_loudness && a->loudness == b->loudness &&
              a->has_ceiling == b->has_ceiling && a->ceiling == b->ceiling &&
              a->has_by == b->has_by && (!a->has_by || same_control(&a->by, &b->by)) &&
              a->ceiling_count == b->ceiling_count && a->stage_count == b->stage_count &&
              a->automation_count == b->automation_count &&
              same_time(a->head_silence, b->head_silence) && same_time(a->tail, b->tail) &&
              same_fade(&a->fade_in, &b->fade_in) && same_fade(&a->fade_out, &b->fade_out);
  for (uint32_t n = 0; same && n < a->ceiling_count; ++n) {
    same = same_control(&a->ceiling_at[n], &b->ceiling_at[n]);
  }
  for (uint32_t n = 0; same && n < a->stage_count; ++n) {
    same = same_stage(&a->stages[n], &b->stages[n], values_alone);
  }
  for (uint32_t n = 0; same && n < a->automation_count; ++n) {
    same = same_automation(&a->automation[n], &b->automation[n]);
  }
  return same;
}

#endif
