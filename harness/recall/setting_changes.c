#include "harness/recall/setting_changes.h"

#include "harness/base/text.h"
#include "harness/sheet/sheet_tree.h"
#include "harness/sheet/sheet_value.h"
#include "harness/sheet/sheet_write.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A sheet's text as a tree, with the sheet that it was written from. */
typedef struct {
  const PlanishSheet *sheet;
  PlanishNode *root;
} Side;

static bool open_side(Side *side, PlanishError *error)
{
  const PlanishSheetWriting writing = {.resolved = true};
  PlanishMistakes mistakes = {0};
  char *text = NULL;
  size_t size = 0;
  FILE *stream = open_memstream(&text, &size);
  if (stream == NULL) {
    return planish_fail_memory(error);
  }
  planish_sheet_write(stream, side->sheet, &writing);
  if (fclose(stream) == 0) {
    side->root = planish_sheet_tree_new(text, size, &mistakes);
  }
  free(text);
  planish_mistakes_free(&mistakes);
  return side->root != NULL || planish_fail_memory(error);
}

static const PlanishNode *member(const PlanishNode *map, const char *key)
{
  const PlanishNode *node = map != NULL && map->kind == PLANISH_NODE_MAP ? map->first : NULL;
  while (node != NULL && strcmp(node->key->text, key) != 0) {
    node = node->next;
  }
  return node;
}

/* A node as one line: scalars as they are, lists and maps as in YAML's flow. */
static void print_node(FILE *stream, const PlanishNode *node)
{
  if (node->kind == PLANISH_NODE_SCALAR) {
    (void)fputs(node->text, stream);
    return;
  }
  const bool map = node->kind == PLANISH_NODE_MAP;
  (void)fputc(map ? '{' : '[', stream);
  for (const PlanishNode *part = node->first; part != NULL; part = part->next) {
    if (map) {
      (void)fprintf(stream, "%s: ", part->key->text);
    }
    print_node(stream, part);
    (void)fputs(part->next == NULL ? "" : ", ", stream);
  }
  (void)fputc(map ? '}' : ']', stream);
}

/* NULL for no node; *done is false without memory. */
static char *text_of(const PlanishNode *node, bool *done)
{
  char *text = NULL;
  size_t size = 0;
  FILE *stream = node == NULL ? NULL : open_memstream(&text, &size);
  if (stream != NULL) {
    print_node(stream, node);
    (void)fclose(stream);
  }
  *done = *done && (node == NULL || text != NULL);
  return text;
}

/* Takes over the texts, of which where must be there. */
static bool add(PlanishSettingChanges *changes, const PlanishSettingChange *change, bool complete,
                PlanishError *error)
{
  PlanishSettingChange *longer =
      realloc(changes->list, (changes->count + 1) * sizeof *changes->list);
  if (longer != NULL) {
    changes->list = longer;
  }
  if (longer == NULL || !complete || change->where == NULL) {
    free(change->where);
    free(change->then);
    free(change->now);
    return planish_fail_memory(error);
  }
  changes->list[changes->count++] = *change;
  return true;
}

static bool add_value(PlanishSettingChanges *changes, const char *path, const char *key,
                      const PlanishNode *then, const PlanishNode *now, const char *unit,
                      PlanishError *error)
{
  bool done = true;
  PlanishSettingChange change = {.unit = unit};
  change.then = text_of(then, &done);
  change.now = text_of(now, &done);
  if (done && change.then != NULL && change.now != NULL && strcmp(change.then, change.now) == 0) {
    free(change.then);
    free(change.now);
    return true;
  }
  change.where = path == NULL ? planish_text_copy(key) : planish_text_new("%s.%s", path, key);
  return add(changes, &change, done, error);
}

static const char *unit_of(const char *key)
{
  static const char *const units[][2] = {
      {"gain", "dB"}, {"balance", "dB"}, {"loudness", "LUFS"}, {"ceiling", "dBTP"}};
  const char *unit = "";
  for (size_t n = 0; n < sizeof units / sizeof *units; ++n) {
    unit = strcmp(key, units[n][0]) == 0 ? units[n][1] : unit;
  }
  return unit;
}

/* All members of two maps, of which one may be missing: those of `then` and what only `now` has. */
static bool compare_maps(PlanishSettingChanges *changes, const char *path, const PlanishNode *then,
                         const PlanishNode *now, PlanishError *error)
{
  bool done = true;
  const PlanishNode *node = then == NULL ? NULL : then->first;
  for (; done && node != NULL; node = node->next) {
    done = add_value(changes, path, node->key->text, node, member(now, node->key->text),
                     unit_of(node->key->text), error);
  }
  for (node = now == NULL ? NULL : now->first; done && node != NULL; node = node->next) {
    if (member(then, node->key->text) == NULL) {
      done = add_value(changes, path, node->key->text, NULL, node, unit_of(node->key->text), error);
    }
  }
  return done;
}

static bool compare_top(PlanishSettingChanges *changes, const Side *then, const Side *now,
                        PlanishError *error)
{
  static const struct {
    const char *key;
    bool map;
    const char *unit;
  } parts[] = {
      {"input", true, ""},         {"rate", false, "Hz"},    {"preroll", false, "s"},
      {"target", true, ""},        {"automation", true, ""}, {"head_silence", false, ""},
      {"fade_in", false, ""},      {"fade_out", false, ""},  {"tail", false, ""},
      {"tail_silence", false, ""},
  };
  bool done = true;
  for (size_t n = 0; done && n < sizeof parts / sizeof *parts; ++n) {
    const PlanishNode *a = member(then->root, parts[n].key);
    const PlanishNode *b = member(now->root, parts[n].key);
    if (a != NULL || b != NULL) {
      done = parts[n].map ? compare_maps(changes, parts[n].key, a, b, error)
                          : add_value(changes, NULL, parts[n].key, a, b, parts[n].unit, error);
    }
  }
  return done;
}

static int stage_named(const PlanishSheet *sheet, const PlanishSheetStage *stage)
{
  for (uint32_t n = 0; n < sheet->stage_count; ++n) {
    if (strcmp(sheet->stages[n].name, stage->name) == 0 &&
        sheet->stages[n].plugin == stage->plugin) {
      return (int)n;
    }
  }
  return -1;
}

/* The map of a stage or branch in a list, or in the branches of it. */
static const PlanishNode *node_named(const PlanishNode *list, const char *name)
{
  const PlanishNode *found = NULL;
  for (const PlanishNode *node = list == NULL ? NULL : list->first; node != NULL && found == NULL;
       node = node->next) {
    const PlanishNode *branch = member(node, "branch");
    const PlanishNode *own = branch != NULL ? branch : member(node, "name");
    found = own != NULL && strcmp(own->text, name) == 0 ? node
            : branch != NULL                            ? node_named(member(node, "stages"), name)
                                                        : NULL;
  }
  return found;
}

static const PlanishNode *stage_node(const Side *side, int index)
{
  return node_named(member(side->root, "stages"), side->sheet->stages[index].name);
}

/* The value of a control in a stage's map, where it may stand in a map of its own. */
static const PlanishNode *control_node(const PlanishNode *stage, const char *symbol)
{
  return planish_sheet_is_stage_key(symbol) ? member(member(stage, "controls"), symbol)
                                            : member(stage, symbol);
}

static bool compare_stage(PlanishSettingChanges *changes, const Side *then, const Side *now,
                          int old, int new, PlanishError *error)
{
  const PlanishSheetStage *stage = &then->sheet->stages[old];
  const PlanishNode *a = stage_node(then, old);
  const PlanishNode *b = stage_node(now, new);
  bool done = true;
  for (uint32_t n = 0; done && n < stage->plugin->port_count; ++n) {
    const PlanishPluginPort *port = &stage->plugin->ports[n];
    const PlanishNode *first = control_node(a, port->symbol);
    const PlanishNode *second = control_node(b, port->symbol);
    if (port->kind == PLANISH_PLUGIN_CONTROL_INPUT && (first != NULL || second != NULL)) {
      done = add_value(changes, stage->name, port->symbol, first, second,
                       port->enumeration || port->toggled ? "" : port->unit, error);
    }
  }
  return done;
}

/* The name of the branch that a stage stands in; NULL: the main path. */
static const char *branch_name(const Side *side, int index)
{
  const int branch = planish_sheet_branch_of(side->sheet, (uint32_t)index);
  return branch < 0 ? NULL : side->sheet->stages[branch].name;
}

/* Where a stage stands: its number in the order of the chain, and its branch. */
static char *place_of(const Side *side, int index)
{
  const char *branch = branch_name(side, index);
  return branch == NULL ? planish_text_new("%d", index + 1)
                        : planish_text_new("%d, in %s", index + 1, branch);
}

static bool same_branch(const Side *then, int old, const Side *now, int new)
{
  const char *before = branch_name(then, old);
  const char *after = branch_name(now, new);
  return before == NULL || after == NULL ? before == after : strcmp(before, after) == 0;
}

static bool add_stage(PlanishSettingChanges *changes, PlanishSettingChangeKind kind,
                      const Side *then, int old, const Side *now, int new, PlanishError *error)
{
  const PlanishSheetStage *stage =
      kind == PLANISH_SETTING_ADDED ? &now->sheet->stages[new] : &then->sheet->stages[old];
  PlanishSettingChange change = {.kind = kind, .unit = ""};
  change.where = planish_text_copy(stage->name);
  const bool moved = kind == PLANISH_SETTING_MOVED;
  const char *uri = planish_plugin_short_uri(stage->plugin);
  const bool has_then = kind != PLANISH_SETTING_ADDED;
  const bool has_now = kind != PLANISH_SETTING_REMOVED;
  if (has_then) {
    change.then = moved ? place_of(then, old) : planish_text_copy(uri);
  }
  if (has_now) {
    change.now = moved ? place_of(now, new) : planish_text_copy(uri);
  }
  return add(changes, &change,
             (!has_then || change.then != NULL) && (!has_now || change.now != NULL), error);
}

/* Marks the old stages that keep their order: a longest rising run of their new places (those that
 * are gone, -1, are left out). `length` and `before` are scratch, one a stage. */
static void find_kept(const int *place, uint32_t count, bool *kept, int *length, int *before)
{
  int last = -1;
  for (uint32_t n = 0; n < count; ++n) {
    length[n] = place[n] < 0 ? 0 : 1;
    before[n] = -1;
    kept[n] = false;
    for (uint32_t k = 0; place[n] >= 0 && k < n; ++k) {
      if (place[k] >= 0 && place[k] < place[n] && length[k] + 1 > length[n]) {
        length[n] = length[k] + 1;
        before[n] = (int)k;
      }
    }
    last = length[n] > 0 && (last < 0 || length[n] > length[last]) ? (int)n : last;
  }
  for (; last >= 0; last = before[last]) {
    kept[last] = true;
  }
}

static bool compare_stages(PlanishSettingChanges *changes, const Side *then, const Side *now,
                           const int *place, const bool *kept, PlanishError *error)
{
  bool done = true;
  for (uint32_t n = 0; done && n < then->sheet->stage_count; ++n) {
    const int old = (int)n;
    if (place[n] < 0) {
      done = add_stage(changes, PLANISH_SETTING_REMOVED, then, old, now, 0, error);
      continue;
    }
    done = ((kept[n] && same_branch(then, old, now, place[n])) ||
            add_stage(changes, PLANISH_SETTING_MOVED, then, old, now, place[n], error)) &&
           compare_stage(changes, then, now, (int)n, place[n], error);
  }
  for (uint32_t n = 0; done && n < now->sheet->stage_count; ++n) {
    const PlanishSheetStage *stage = &now->sheet->stages[n];
    done = stage_named(then->sheet, stage) >= 0 ||
           add_stage(changes, PLANISH_SETTING_ADDED, then, 0, now, (int)n, error);
  }
  return done;
}

static bool compare_chains(PlanishSettingChanges *changes, const Side *then, const Side *now,
                           PlanishError *error)
{
  const uint32_t count = then->sheet->stage_count;
  int *places = calloc(3 * ((size_t)count + 1), sizeof *places);
  bool *kept = calloc((size_t)count + 1, sizeof *kept);
  bool done = places != NULL && kept != NULL;
  if (done) {
    for (uint32_t n = 0; n < count; ++n) {
      places[n] = stage_named(now->sheet, &then->sheet->stages[n]);
    }
    find_kept(places, count, kept, places + count, places + 2 * (size_t)count);
    done = compare_stages(changes, then, now, places, kept, error);
  } else {
    planish_fail_memory(error);
  }
  free(places);
  free(kept);
  return done;
}

bool planish_setting_changes_find(PlanishSettingChanges *changes, const PlanishSheet *then,
                                  const PlanishSheet *now, PlanishError *error)
{
  Side sides[2] = {{.sheet = then}, {.sheet = now}};
  *changes = (PlanishSettingChanges){0};
  const bool done = open_side(&sides[0], error) && open_side(&sides[1], error) &&
                    compare_top(changes, &sides[0], &sides[1], error) &&
                    compare_chains(changes, &sides[0], &sides[1], error);
  planish_sheet_tree_free(sides[0].root);
  planish_sheet_tree_free(sides[1].root);
  return done;
}

void planish_setting_changes_release(PlanishSettingChanges *changes)
{
  for (size_t n = 0; n < changes->count; ++n) {
    free(changes->list[n].where);
    free(changes->list[n].then);
    free(changes->list[n].now);
  }
  free(changes->list);
  *changes = (PlanishSettingChanges){0};
}
