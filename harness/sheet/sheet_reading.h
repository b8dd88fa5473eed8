/* A sheet on its way from tree to PlanishSheet: for the files that read sheets alone. Each reads
 * one part of it, and tells every mistake that it finds. */
#ifndef PLANISH_HARNESS_SHEET_READING_H
#define PLANISH_HARNESS_SHEET_READING_H

#include "harness/sheet/sheet.h"
#include "harness/sheet/sheet_tree.h"
#include "harness/sheet/sheet_value.h"

#define PLANISH_LENGTH_OF(array) (sizeof(array) / sizeof *(array))

typedef struct {
  PlanishSheet *sheet;
  PlanishHost *host;
  PlanishMistakes *mistakes;
  bool audition;
  bool stages_left_out; /* for mistakes in them */
  void *part;           /* what the map that is read goes into; NULL: the sheet itself */
} PlanishSheetReading;

typedef struct {
  const char *key;
  void (*read)(PlanishSheetReading *reading, const PlanishNode *node);
} PlanishSheetMember;

/* Hands the members of a map to their readers, which find `part` in reading->part. `where`
 * names the map in messages. False where it is no map or any mistake was found in it. */
bool planish_sheet_read_map(PlanishSheetReading *reading, const PlanishNode *map, const char *where,
                            const PlanishSheetMember *members, size_t count, void *part);

/* How many mistakes have been found. */
size_t planish_sheet_mistakes(const PlanishSheetReading *reading);

/* A member of a map by key; NULL: there is none. */
const PlanishNode *planish_sheet_member(const PlanishNode *map, const char *key);

/* How many members a list or map has. */
size_t planish_sheet_member_count(const PlanishNode *node);

/* Reads the tree of a sheet, less its variants, into reading->sheet. */
void planish_sheet_read_root(PlanishSheetReading *reading, const PlanishNode *root);

/* The same of the sheet's variants: their names, and every mistake in any of them. */
void planish_sheet_read_variants(PlanishSheetReading *reading, const PlanishNode *root);

/* Turns the tree of a sheet into that of one of its variants. */
bool planish_sheet_become_variant(PlanishNode *root, const char *name, PlanishMistakes *mistakes);

/* Whether a text can be the name of a stage: letters, digits, - and _. */
bool planish_sheet_is_name(const char *text);

/* NAME.SYMBOL as text of `node`. A stage that was left out for mistakes of its own is no mistake
 * again. */
bool planish_sheet_read_control(PlanishSheetReading *reading, const PlanishNode *node,
                                PlanishControl *control);

/* The stages and branches of a list that stand in `depth` branches. */
void planish_sheet_read_path(PlanishSheetReading *reading, const PlanishNode *list, uint32_t depth);

/* A branch that stands in `depth` others, with all that stands in it. */
void planish_sheet_read_branch(PlanishSheetReading *reading, const PlanishNode *map,
                               uint32_t depth);

/* The name of a stage or branch that is read, from `node`; told of where it is none or taken. */
void planish_sheet_read_name(PlanishSheetReading *reading, PlanishSheetStage *stage,
                             const PlanishNode *node);

/* Gives a stage its plugin and its values, all at their defaults. */
bool planish_sheet_stage_start(PlanishSheetReading *reading, PlanishSheetStage *stage,
                               const PlanishPlugin *plugin);

/* Gives back what a stage holds. */
void planish_sheet_stage_free(PlanishSheetStage *stage);

/* A value of a stage's control, by the key and text of `node`. */
void planish_sheet_read_value(PlanishSheetReading *reading, PlanishSheetStage *stage,
                              const PlanishNode *node);

/* Members of the top level. The target and the automation name stages, so they come after them. */
void planish_sheet_read_input(PlanishSheetReading *reading, const PlanishNode *node);
void planish_sheet_read_rate(PlanishSheetReading *reading, const PlanishNode *node);
void planish_sheet_read_stages(PlanishSheetReading *reading, const PlanishNode *list);
void planish_sheet_read_target(PlanishSheetReading *reading, const PlanishNode *node);
void planish_sheet_read_automation(PlanishSheetReading *reading, const PlanishNode *map);
void planish_sheet_read_head_silence(PlanishSheetReading *reading, const PlanishNode *node);
void planish_sheet_read_fade_in(PlanishSheetReading *reading, const PlanishNode *node);
void planish_sheet_read_fade_out(PlanishSheetReading *reading, const PlanishNode *node);
void planish_sheet_read_tail(PlanishSheetReading *reading, const PlanishNode *node);
void planish_sheet_read_tail_silence(PlanishSheetReading *reading, const PlanishNode *node);
void planish_sheet_read_recall(PlanishSheetReading *reading, const PlanishNode *node);

#endif
