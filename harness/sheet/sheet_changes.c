#include "harness/sheet/sheet_changes.h"

#include "harness/base/text.h"
#include "harness/sheet/sheet_reading.h"

#include <stdlib.h>
#include <string.h>

typedef struct {
  PlanishNode *root;
  const char *where;
  PlanishMistakes *mistakes;
} Changing;

/* planish_sheet_member() of what may be changed. */
static PlanishNode *member(PlanishNode *map, const char *key)
{
  PlanishNode *node = map->kind == PLANISH_NODE_MAP ? map->first : NULL;
  while (node != NULL &&
         (node->key->kind != PLANISH_NODE_SCALAR || strcmp(node->key->text, key) != 0)) {
    node = node->next;
  }
  return node;
}

/* Takes `node` out of the list or map that it stands in. */
static void remove_node(PlanishNode *parent, PlanishNode *node)
{
  PlanishNode **place = &parent->first;
  while (*place != node) {
    place = &(*place)->next;
  }
  *place = node->next;
  node->next = NULL;
  planish_sheet_tree_free(node);
}

/* Puts a copy of `node`, whose key is the member's, at the end of a map, instead of one that is
 * there. */
static PlanishNode *put(Changing *changing, PlanishNode *map, const PlanishNode *node)
{
  PlanishNode *there = member(map, node->key->text);
  PlanishNode *copy = planish_sheet_tree_copy(node);
  if (copy == NULL) {
    planish_mistake_memory(changing->mistakes);
    return NULL;
  }
  if (there != NULL) {
    remove_node(map, there);
  }
  PlanishNode **place = &map->first;
  while (*place != NULL) {
    place = &(*place)->next;
  }
  *place = copy;
  return copy;
}

static const char *name_of(const PlanishNode *stage)
{
  const PlanishNode *name = planish_sheet_member(stage, "branch");
  name = name == NULL ? planish_sheet_member(stage, "name") : name;
  return name == NULL || name->kind != PLANISH_NODE_SCALAR ? "" : name->text;
}

/* The map of a stage or branch of that name among those of `list` and in its branches; *parent is
 * the list that it stands in. NULL: there is none. */
static PlanishNode *find_stage(PlanishNode *list, const char *name, PlanishNode **parent,
                               PlanishNearest *nearest)
{
  PlanishNode *found = NULL;
  for (PlanishNode *node = list->first; found == NULL && node != NULL; node = node->next) {
    PlanishNode *inner = member(node, "stages");
    planish_nearest_consider(nearest, name_of(node));
    if (strcmp(name_of(node), name) == 0) {
      *parent = list;
      found = node;
    } else if (inner != NULL && inner->kind == PLANISH_NODE_LIST) {
      found = find_stage(inner, name, parent, nearest);
    }
  }
  return found;
}

/* The same by the text of `node`, told where there is none. */
static PlanishNode *named_stage(Changing *changing, const PlanishNode *node, const char *name,
                                PlanishNode **parent)
{
  PlanishNearest nearest = planish_nearest_to(name);
  PlanishNode *list = member(changing->root, "stages");
  PlanishNode *found = find_stage(list, name, parent, &nearest);
  if (found == NULL && nearest.best != NULL && nearest.best[0] != '\0') {
    planish_mistake(changing->mistakes, node->line, node->column,
                    "%s: no stage of this name: did you mean %s?", name, nearest.best);
  } else if (found == NULL) {
    planish_mistake(changing->mistakes, node->line, node->column,
                    "%s: no stage of this name: give the name of one that is in the sheet", name);
  }
  return found;
}

/* Whether a text NAME.SYMBOL is of a stage in `stage`, a stage or a branch with all that stands in
 * it. */
static bool is_control_of(const PlanishNode *stage, const char *text)
{
  const char *dot = text == NULL ? NULL : strrchr(text, '.');
  const char *name = name_of(stage);
  const PlanishNode *inner = planish_sheet_member(stage, "stages");
  bool found = dot != NULL && strlen(name) == (size_t)(dot - text) &&
               strncmp(name, text, (size_t)(dot - text)) == 0;
  for (const PlanishNode *node = inner == NULL ? NULL : inner->first; !found && node != NULL;
       node = node->next) {
    found = is_control_of(node, text);
  }
  return found;
}

static void forget_automation(Changing *changing, const PlanishNode *stage)
{
  PlanishNode *automation = member(changing->root, "automation");
  PlanishNode *node =
      automation == NULL || automation->kind != PLANISH_NODE_MAP ? NULL : automation->first;
  while (node != NULL) {
    PlanishNode *next = node->next;
    if (is_control_of(stage, node->key->text)) {
      remove_node(automation, node);
    }
    node = next;
  }
}

/* Controls of a stage that is left out cannot be moved to land: others hold the ceiling, or the
 * changes name one. */
static void forget_target(Changing *changing, const PlanishNode *stage, const PlanishNode *name)
{
  PlanishNode *target = member(changing->root, "target");
  PlanishNode *by = target == NULL ? NULL : member(target, "by");
  PlanishNode *list = target == NULL ? NULL : member(target, "ceiling_at");
  PlanishNode *node = list == NULL ? NULL : list->first;
  if (by != NULL && is_control_of(stage, by->text)) {
    planish_mistake(changing->mistakes, name->line, name->column,
                    "%s: left out, but the target is landed on by %s: give %s a \"target:\" with "
                    "another \"by:\"",
                    name->text, by->text, changing->where);
    /* Told once. */
    remove_node(target, by);
    PlanishNode *loudness = member(target, "loudness");
    if (loudness != NULL) {
      remove_node(target, loudness);
    }
  }
  while (node != NULL) {
    PlanishNode *next = node->next;
    if (is_control_of(stage, node->text)) {
      remove_node(list, node);
    }
    node = next;
    if (list->first == NULL) {
      planish_mistake(changing->mistakes, name->line, name->column,
                      "%s: left out, and nothing else holds the ceiling: give %s a \"target:\" "
                      "with a \"ceiling_at:\"",
                      name->text, changing->where);
    }
  }
}

static void leave_out(Changing *changing, const PlanishNode *name)
{
  PlanishNode *parent = NULL;
  if (name->kind != PLANISH_NODE_SCALAR) {
    planish_mistake(changing->mistakes, name->line, name->column,
                    "without: no name: give the names of stages");
    return;
  }
  PlanishNode *stage = name->bad ? NULL : named_stage(changing, name, name->text, &parent);
  if (stage == NULL) {
    return;
  }
  if (parent->first == stage && stage->next == NULL) {
    planish_mistake(
        changing->mistakes, name->line, name->column, "%s: the only stage %s", name->text,
        parent == member(changing->root, "stages") ? "there is: leave another in"
                                                   : "of its branch: leave out the branch");
    return;
  }
  forget_automation(changing, stage);
  forget_target(changing, stage, name);
  remove_node(parent, stage);
}

static void leave_all_out(Changing *changing, const PlanishNode *list)
{
  if (list->kind != PLANISH_NODE_LIST) {
    planish_mistake(changing->mistakes, list->line, list->column,
                    "without: no list: write [NAME, ...]");
    return;
  }
  for (const PlanishNode *name = list->first; name != NULL; name = name->next) {
    leave_out(changing, name);
  }
}

/* The map that a stage's control stands in, or goes into: its own, or that of `controls`. */
static PlanishNode *map_of_control(Changing *changing, PlanishNode *stage, const char *symbol,
                                   const PlanishNode *node)
{
  PlanishNode *controls = member(stage, "controls");
  const bool is_branch = member(stage, "branch") != NULL;
  if (controls != NULL && member(controls, symbol) != NULL) {
    return controls;
  }
  if (is_branch || !planish_sheet_is_stage_key(symbol)) {
    return stage;
  }
  if (controls == NULL) {
    PlanishNode key = {.kind = PLANISH_NODE_SCALAR, .line = node->line, .column = node->column};
    PlanishNode map = {.kind = PLANISH_NODE_MAP, .line = node->line, .column = node->column};
    char text[] = "controls";
    key.text = text;
    map.key = &key;
    controls = put(changing, stage, &map);
  }
  return controls;
}

/* A branch's own keys that are no controls. */
static bool is_branch_key(const PlanishNode *stage, const char *symbol)
{
  return planish_sheet_member(stage, "branch") != NULL &&
         (strcmp(symbol, "branch") == 0 || strcmp(symbol, "stages") == 0);
}

static void set(Changing *changing, const PlanishNode *node)
{
  const char *text = node->key->text;
  const char *dot = strrchr(text, '.');
  const PlanishNode *automation = member(changing->root, "automation");
  char *name = dot == NULL ? NULL : planish_text_new("%.*s", (int)(dot - text), text);
  PlanishNode *parent = NULL;
  PlanishNode *stage = name == NULL ? NULL : named_stage(changing, node->key, name, &parent);
  if (dot == NULL) {
    planish_mistake(changing->mistakes, node->key->line, node->key->column,
                    "set: %s: no control: give NAME.SYMBOL, a stage's name and a control's symbol",
                    text);
  } else if (name == NULL) {
    planish_mistake_memory(changing->mistakes);
  } else if (stage != NULL && is_branch_key(stage, dot + 1)) {
    planish_mistake(changing->mistakes, node->key->line, node->key->column,
                    "set: %s: no control: a branch has level, take and add", text);
  } else if (automation != NULL && planish_sheet_member(automation, text) != NULL) {
    planish_mistake(changing->mistakes, node->key->line, node->key->column,
                    "set: %s: the sheet automates it: change its points in the sheet", text);
  } else if (stage != NULL) {
    PlanishNode *map = map_of_control(changing, stage, dot + 1, node);
    PlanishNode *value = map == NULL ? NULL : put(changing, map, node);
    if (value != NULL) {
      memmove(value->key->text, value->key->text + (dot + 1 - text), strlen(dot + 1) + 1);
      PlanishNode *former = member(map, dot + 1);
      if (former != value) {
        remove_node(map, former);
      }
    }
  }
  free(name);
}

static void set_all(Changing *changing, const PlanishNode *map)
{
  if (map->kind != PLANISH_NODE_MAP) {
    planish_mistake(changing->mistakes, map->line, map->column,
                    "set: no map: write {NAME.SYMBOL: VALUE, ...}");
    return;
  }
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    if (!node->bad && node->key->kind == PLANISH_NODE_SCALAR) {
      set(changing, node);
    }
  }
}

/* Mistakes of the whole are told at the changes. */
static void change_target(Changing *changing, const PlanishNode *node)
{
  PlanishNode *target = member(changing->root, "target");
  if (target == NULL || target->kind != PLANISH_NODE_MAP || node->kind != PLANISH_NODE_MAP) {
    put(changing, changing->root, node);
    return;
  }
  target->line = node->line;
  target->column = node->column;
  for (const PlanishNode *inner = node->first; inner != NULL; inner = inner->next) {
    if (inner->key->kind == PLANISH_NODE_SCALAR) {
      put(changing, target, inner);
    }
  }
}

/* One of gain and loudness stands instead of the other. */
static void change_input(Changing *changing, const PlanishNode *node)
{
  PlanishNode *input = member(changing->root, "input");
  if (input == NULL || input->kind != PLANISH_NODE_MAP || node->kind != PLANISH_NODE_MAP) {
    put(changing, changing->root, node);
    return;
  }
  for (const PlanishNode *inner = node->first; inner != NULL; inner = inner->next) {
    const char *key = inner->key->kind == PLANISH_NODE_SCALAR ? inner->key->text : "";
    PlanishNode *other = strcmp(key, "gain") == 0       ? member(input, "loudness")
                         : strcmp(key, "loudness") == 0 ? member(input, "gain")
                                                        : NULL;
    if (other != NULL && planish_sheet_member(node, other->key->text) == NULL) {
      remove_node(input, other);
    }
    if (key[0] != '\0') {
      put(changing, input, inner);
    }
  }
}

static void change_member(Changing *changing, const PlanishNode *node)
{
  const char *key = node->key->text;
  if (strcmp(key, "set") == 0) {
    set_all(changing, node);
  } else if (strcmp(key, "target") == 0) {
    change_target(changing, node);
  } else if (strcmp(key, "input") == 0) {
    change_input(changing, node);
  } else {
    put(changing, changing->root, node);
  }
}

static bool is_one_of(const char *key, const char *const *keys, size_t count)
{
  while (count > 0 && strcmp(keys[count - 1], key) != 0) {
    count -= 1;
  }
  return count > 0;
}

bool planish_sheet_change(PlanishNode *root, const PlanishNode *changes, const char *const *keys,
                          size_t count, const char *where, PlanishMistakes *mistakes)
{
  Changing changing = {.root = root, .where = where, .mistakes = mistakes};
  const size_t before = mistakes->count + mistakes->untold;
  const PlanishNode *stages = planish_sheet_member(root, "stages");
  if (stages == NULL || stages->kind != PLANISH_NODE_LIST) {
    return false; /* told when it is read */
  }
  const PlanishNode *without = planish_sheet_member(changes, "without");
  for (const PlanishNode *node = changes->first; node != NULL; node = node->next) {
    if (!node->bad && node->key->kind == PLANISH_NODE_SCALAR && node != without &&
        is_one_of(node->key->text, keys, count)) {
      change_member(&changing, node);
    }
  }
  /* The last, so that controls of the target that are named anew count, and what is set on a stage
   * that is left out is known. */
  if (without != NULL && !without->bad && is_one_of("without", keys, count)) {
    leave_all_out(&changing, without);
  }
  return mistakes->count + mistakes->untold == before;
}

static void drop(PlanishNode *root, const char *key)
{
  PlanishNode *node = member(root, key);
  if (node != NULL) {
    remove_node(root, node);
  }
}

PlanishSheet *planish_sheet_of_changed(const PlanishSheetChanged *changed, PlanishHost *host,
                                       PlanishMistakes *mistakes)
{
  const size_t before = mistakes->count + mistakes->untold;
  PlanishNode *root = planish_sheet_tree_copy(changed->root);
  PlanishSheet *sheet = calloc(1, sizeof *sheet);
  if (root == NULL || sheet == NULL) {
    planish_mistake_memory(mistakes);
  } else {
    drop(root, "variants");
    drop(root, "recall");
    for (size_t n = 0; n < changed->change_count; ++n) {
      (void)planish_sheet_change(root, changed->changes[n], changed->keys, changed->key_count,
                                 changed->where, mistakes);
    }
    PlanishSheetReading reading = {.sheet = sheet, .host = host, .mistakes = mistakes};
    planish_sheet_read_root(&reading, root);
  }
  planish_sheet_tree_free(root);
  if (mistakes->count + mistakes->untold > before) {
    planish_sheet_free(sheet);
    sheet = NULL;
  }
  return sheet;
}
