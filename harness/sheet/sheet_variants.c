/* Other masters of the same mix: `variants`. */
#include "harness/base/text.h"
#include "harness/sheet/sheet_changes.h"
#include "harness/sheet/sheet_reading.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* The first is no change. */
static const char *const keys[] = {"name",    "target",   "without", "set",         "head_silence",
                                   "fade_in", "fade_out", "tail",    "tail_silence"};

static PlanishNode *take_variants(PlanishNode *root)
{
  PlanishNode **place = &root->first;
  while (*place != NULL && ((*place)->key->kind != PLANISH_NODE_SCALAR ||
                            strcmp((*place)->key->text, "variants") != 0)) {
    place = &(*place)->next;
  }
  PlanishNode *variants = *place;
  if (variants != NULL) {
    *place = variants->next;
    variants->next = NULL;
  }
  return variants;
}

static bool change(PlanishNode *root, const PlanishNode *variant, PlanishMistakes *mistakes)
{
  return planish_sheet_change(root, variant, keys + 1, PLANISH_LENGTH_OF(keys) - 1, "the variant",
                              mistakes);
}

bool planish_sheet_become_variant(PlanishNode *root, const char *name, PlanishMistakes *mistakes)
{
  PlanishNode *variants = root->kind == PLANISH_NODE_MAP ? take_variants(root) : NULL;
  PlanishNearest nearest = planish_nearest_to(name);
  const PlanishNode *found = NULL;
  for (const PlanishNode *node = variants == NULL ? NULL : variants->first;
       found == NULL && node != NULL; node = node->next) {
    const PlanishNode *own = planish_sheet_member(node, "name");
    if (own != NULL && own->kind == PLANISH_NODE_SCALAR) {
      planish_nearest_consider(&nearest, own->text);
      found = strcmp(own->text, name) == 0 ? node : NULL;
    }
  }
  if (found == NULL && nearest.best != NULL) {
    planish_mistake(mistakes, 0, 0, "%s: no variant of this name: did you mean %s?", name,
                    nearest.best);
  } else if (found == NULL) {
    planish_mistake(mistakes, 0, 0, "%s: no variant of this name: see \"variants:\" in the sheet",
                    name);
  }
  const bool done = found != NULL && change(root, found, mistakes);
  planish_sheet_tree_free(variants);
  return done;
}

static bool check_keys(PlanishSheetReading *reading, const PlanishNode *map)
{
  const size_t before = planish_sheet_mistakes(reading);
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    bool known = node->key->kind != PLANISH_NODE_SCALAR || node->key->bad;
    for (size_t n = 0; !known && n < PLANISH_LENGTH_OF(keys); ++n) {
      known = strcmp(node->key->text, keys[n]) == 0;
    }
    if (!known) {
      planish_sheet_unknown_key(node->key, keys, PLANISH_LENGTH_OF(keys), "a variant",
                                reading->mistakes);
    }
  }
  return planish_sheet_mistakes(reading) == before;
}

/* Names become file names, and some file systems know no capital letters. */
static bool is_taken(const PlanishSheet *sheet, const char *name)
{
  bool taken = false;
  for (uint32_t n = 0; !taken && n < sheet->variant_count; ++n) {
    taken = sheet->variants[n] != NULL && strcasecmp(sheet->variants[n], name) == 0;
  }
  return taken;
}

static bool read_name(PlanishSheetReading *reading, const PlanishNode *map)
{
  PlanishSheet *sheet = reading->sheet;
  const PlanishNode *node = planish_sheet_member(map, "name");
  if (node == NULL) {
    return planish_mistake(reading->mistakes, map->line, map->column,
                           "a variant without a name: add \"name:\" with a name of its own");
  }
  if (node->bad) {
    return false;
  }
  if (node->kind != PLANISH_NODE_SCALAR || !planish_sheet_is_name(node->text)) {
    return planish_mistake(reading->mistakes, node->line, node->column,
                           "name: not a name: give letters, digits, - and _, at most 40");
  }
  if (strcmp(node->text, PLANISH_ALL_VARIANTS) == 0 || is_taken(sheet, node->text)) {
    return planish_mistake(reading->mistakes, node->line, node->column,
                           "name: %s is taken: give each variant its own", node->text);
  }
  char *name = planish_text_copy(node->text);
  if (name == NULL) {
    return planish_mistake_memory(reading->mistakes);
  }
  sheet->variants[sheet->variant_count++] = name;
  return true;
}

/* Of what is told twice, once is enough: a mistake in the part that all share. */
static void drop_known(PlanishMistakes *mistakes, size_t known)
{
  size_t kept = known;
  for (size_t n = known; n < mistakes->count; ++n) {
    bool told = false;
    for (size_t i = 0; !told && i < kept; ++i) {
      told = mistakes->list[i].line == mistakes->list[n].line &&
             mistakes->list[i].column == mistakes->list[n].column &&
             strcmp(mistakes->list[i].text, mistakes->list[n].text) == 0;
    }
    if (!told) {
      mistakes->list[kept++] = mistakes->list[n];
    }
  }
  mistakes->count = kept;
}

/* Reads the sheet that the variant is, for its mistakes. */
static void read_whole(PlanishSheetReading *reading, const PlanishNode *root,
                       const PlanishNode *variant)
{
  const size_t known = reading->mistakes->count;
  PlanishNode *copy = planish_sheet_tree_copy(root);
  PlanishSheet *sheet = calloc(1, sizeof *sheet);
  if (copy == NULL || sheet == NULL) {
    planish_mistake_memory(reading->mistakes);
  } else {
    (void)change(copy, variant, reading->mistakes);
    PlanishSheetReading own = *reading;
    own.sheet = sheet;
    planish_sheet_read_root(&own, copy);
  }
  drop_known(reading->mistakes, known);
  planish_sheet_free(sheet);
  planish_sheet_tree_free(copy);
}

static void read_variant(PlanishSheetReading *reading, const PlanishNode *root,
                         const PlanishNode *map)
{
  if (map->bad) {
    return;
  }
  if (map->kind != PLANISH_NODE_MAP) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "no variant: each is a map, such as {name: quiet, target: {loudness: -14}}");
    return;
  }
  read_name(reading, map);
  check_keys(reading, map);
  read_whole(reading, root, map);
}

void planish_sheet_read_variants(PlanishSheetReading *reading, const PlanishNode *root)
{
  const PlanishNode *list = planish_sheet_member(root, "variants");
  PlanishSheet *sheet = reading->sheet;
  if (list == NULL || list->bad) {
    return;
  }
  if (list->kind != PLANISH_NODE_LIST || list->first == NULL) {
    planish_mistake(reading->mistakes, list->line, list->column,
                    "variants: no list: begin each variant with \"- \"");
    return;
  }
  const size_t count = planish_sheet_member_count(list);
  if (count > PLANISH_MOST_VARIANTS) {
    planish_mistake(reading->mistakes, list->line, list->column,
                    "variants: %zu of them: at most %d are made together", count,
                    PLANISH_MOST_VARIANTS);
    return;
  }
  sheet->variants = calloc(count, sizeof *sheet->variants);
  if (sheet->variants == NULL) {
    planish_mistake_memory(reading->mistakes);
    return;
  }
  for (const PlanishNode *map = list->first; map != NULL; map = map->next) {
    read_variant(reading, root, map);
  }
}
