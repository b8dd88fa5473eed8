#include "harness/sheet/sheet_tree.h"

#include "harness/base/text.h"
#include "harness/sheet/sheet_syntax.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <yaml.h>

typedef struct {
  yaml_parser_t parser;
  PlanishMistakes *mistakes;
  const char *text;
  size_t size;
  bool broken; /* nothing after this place can be read */
} Reading;

/* Stands for memory that is not there. */
static PlanishError no_memory = {
    .outcome = PLANISH_BAD_FILE,
    .text = "out of memory: close other programs and try again",
};

bool planish_mistake(PlanishMistakes *mistakes, int line, int column, const char *format, ...)
{
  if (mistakes->count == PLANISH_SHEET_MISTAKES) {
    mistakes->untold += 1;
    return false;
  }
  PlanishError *longer =
      mistakes->list == &no_memory
          ? NULL
          : realloc(mistakes->list, (mistakes->count + 1) * sizeof *mistakes->list);
  if (longer == NULL) {
    if (mistakes->count == 0) {
      mistakes->list = &no_memory;
      mistakes->count = 1;
    }
    return false;
  }
  mistakes->list = longer;
  PlanishError *mistake = &mistakes->list[mistakes->count++];
  *mistake = (PlanishError){.outcome = PLANISH_BAD_USE, .line = line, .column = column};
  va_list arguments;
  va_start(arguments, format);
  planish_text_vline(mistake->text, sizeof mistake->text, format, arguments);
  va_end(arguments);
  return false;
}

bool planish_mistake_memory(PlanishMistakes *mistakes)
{
  if (mistakes->count == 0) {
    mistakes->list = &no_memory;
    mistakes->count = 1;
  } else if (mistakes->list != &no_memory) {
    planish_mistake(mistakes, 0, 0, "%s", no_memory.text);
  }
  return false;
}

void planish_mistakes_free(PlanishMistakes *mistakes)
{
  if (mistakes->list != &no_memory) {
    free(mistakes->list);
  }
  *mistakes = (PlanishMistakes){.kind = mistakes->kind};
}

const PlanishTextKind *planish_mistakes_kind(const PlanishMistakes *mistakes)
{
  static const PlanishTextKind sheet = {"sheet", "planish: 1"};
  return mistakes->kind == NULL ? &sheet : mistakes->kind;
}

static int by_place(const void *a, const void *b)
{
  const PlanishError *x = a;
  const PlanishError *y = b;
  return x->line != y->line ? (x->line > y->line) - (x->line < y->line)
                            : (x->column > y->column) - (x->column < y->column);
}

void planish_mistakes_sort(PlanishMistakes *mistakes)
{
  if (mistakes->count > 1) {
    qsort(mistakes->list, mistakes->count, sizeof *mistakes->list, by_place);
  }
}

static const char *name_of(const Reading *reading)
{
  return planish_mistakes_kind(reading->mistakes)->name;
}

static int line_of(const yaml_event_t *event)
{
  return (int)event->start_mark.line + 1;
}

static int column_of(const yaml_event_t *event)
{
  return (int)event->start_mark.column + 1;
}

static bool next_event(Reading *reading, yaml_event_t *event)
{
  if (reading->broken || !yaml_parser_parse(&reading->parser, event)) {
    if (!reading->broken) {
      reading->broken = true;
      planish_sheet_tell_syntax(&reading->parser, reading->text, reading->size, reading->mistakes);
    }
    *event = (yaml_event_t){0};
    return false;
  }
  return true;
}

static PlanishNode *new_node(Reading *reading, PlanishNodeKind kind, const yaml_event_t *event)
{
  PlanishNode *node = calloc(1, sizeof *node);
  if (node == NULL) {
    reading->broken = true;
    planish_mistake_memory(reading->mistakes);
    return NULL;
  }
  node->kind = kind;
  node->line = line_of(event);
  node->column = column_of(event);
  return node;
}

static void refuse_extras(Reading *reading, const yaml_event_t *event, const yaml_char_t *anchor,
                          const yaml_char_t *tag)
{
  if (anchor != NULL) {
    planish_mistake(reading->mistakes, line_of(event), column_of(event),
                    "anchor &%s: a %s has none: write the value out", (const char *)anchor,
                    name_of(reading));
  }
  if (tag != NULL) {
    planish_mistake(reading->mistakes, line_of(event), column_of(event),
                    "tag %s: a %s has none: remove it", (const char *)tag, name_of(reading));
  }
}

static PlanishNode *read_node(Reading *reading, const yaml_event_t *event, int depth);

static PlanishNode *read_scalar(Reading *reading, const yaml_event_t *event)
{
  refuse_extras(reading, event, event->data.scalar.anchor, event->data.scalar.tag);
  PlanishNode *node = new_node(reading, PLANISH_NODE_SCALAR, event);
  if (node == NULL) {
    return NULL;
  }
  const char *value = (const char *)event->data.scalar.value;
  node->quoted = event->data.scalar.style != YAML_PLAIN_SCALAR_STYLE;
  node->text = planish_text_copy(value);
  if (strlen(value) != event->data.scalar.length) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "a zero byte in a value: remove it");
  }
  if (node->text == NULL) {
    reading->broken = true;
    free(node);
    return NULL;
  }
  return node;
}

static bool check_key(Reading *reading, const PlanishNode *map, const PlanishNode *key)
{
  if (key->kind != PLANISH_NODE_SCALAR) {
    return planish_mistake(reading->mistakes, key->line, key->column,
                           "a key that is no text: give it a name");
  }
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    if (node->key->kind == PLANISH_NODE_SCALAR && strcmp(node->key->text, key->text) == 0) {
      return planish_mistake(reading->mistakes, key->line, key->column,
                             "%s: stands here twice, first on line %d: keep one", key->text,
                             node->key->line);
    }
  }
  return true;
}

/* Reads the members of a list or map up to its end. */
static void read_members(Reading *reading, PlanishNode *parent, int depth)
{
  const bool map = parent->kind == PLANISH_NODE_MAP;
  const yaml_event_type_t end = map ? YAML_MAPPING_END_EVENT : YAML_SEQUENCE_END_EVENT;
  PlanishNode **place = &parent->first;
  yaml_event_t event;
  for (int count = 0; next_event(reading, &event) && event.type != end; ++count) {
    PlanishNode *key = NULL;
    bool good = true;
    if (count == PLANISH_SHEET_MEMBERS) {
      reading->broken = true;
      planish_mistake(reading->mistakes, line_of(&event), column_of(&event),
                      "more than %d in one list or map: a %s needs fewer", PLANISH_SHEET_MEMBERS,
                      name_of(reading));
      break;
    }
    if (map) {
      key = read_node(reading, &event, depth);
      yaml_event_delete(&event);
      if (key == NULL || !next_event(reading, &event)) {
        planish_sheet_tree_free(key);
        break;
      }
      good = check_key(reading, parent, key);
    }
    PlanishNode *node = read_node(reading, &event, depth);
    yaml_event_delete(&event);
    if (node == NULL) {
      planish_sheet_tree_free(key);
      break;
    }
    node->key = key;
    node->bad = node->bad || !good;
    *place = node;
    place = &node->next;
  }
  yaml_event_delete(&event);
}

static PlanishNode *read_alias(Reading *reading, const yaml_event_t *event)
{
  planish_mistake(reading->mistakes, line_of(event), column_of(event),
                  "alias *%s: a %s has none: write the value out",
                  (const char *)event->data.alias.anchor, name_of(reading));
  PlanishNode *node = new_node(reading, PLANISH_NODE_SCALAR, event);
  if (node != NULL) {
    node->bad = true;
    node->text = planish_text_copy("");
    reading->broken = reading->broken || node->text == NULL;
  }
  return node;
}

static PlanishNode *read_node(Reading *reading, const yaml_event_t *event, int depth)
{
  if (event->type == YAML_SCALAR_EVENT) {
    return read_scalar(reading, event);
  }
  if (event->type == YAML_ALIAS_EVENT) {
    return read_alias(reading, event);
  }
  if (depth >= PLANISH_SHEET_DEPTH) {
    reading->broken = true;
    planish_mistake(reading->mistakes, line_of(event), column_of(event),
                    "more than %d levels deep: take away what is nested further",
                    PLANISH_SHEET_DEPTH);
    return NULL;
  }
  const bool map = event->type == YAML_MAPPING_START_EVENT;
  if (map) {
    refuse_extras(reading, event, event->data.mapping_start.anchor, event->data.mapping_start.tag);
  } else {
    refuse_extras(reading, event, event->data.sequence_start.anchor,
                  event->data.sequence_start.tag);
  }
  PlanishNode *node = new_node(reading, map ? PLANISH_NODE_MAP : PLANISH_NODE_LIST, event);
  if (node != NULL) {
    read_members(reading, node, depth + 1);
  }
  return node;
}

static PlanishNode *read_documents(Reading *reading)
{
  PlanishNode *root = NULL;
  yaml_event_t event;
  bool more = true;
  while (more && next_event(reading, &event)) {
    if (event.type == YAML_DOCUMENT_START_EVENT && root != NULL) {
      more = planish_mistake(reading->mistakes, line_of(&event), column_of(&event),
                             "a second document: a file holds one %s", name_of(reading));
    } else if (event.type == YAML_STREAM_END_EVENT) {
      more = false;
    } else if (root == NULL && (event.type == YAML_SCALAR_EVENT || event.type == YAML_ALIAS_EVENT ||
                                event.type == YAML_SEQUENCE_START_EVENT ||
                                event.type == YAML_MAPPING_START_EVENT)) {
      root = read_node(reading, &event, 0);
    }
    yaml_event_delete(&event);
  }
  return root;
}

PlanishNode *planish_sheet_tree_new(const char *text, size_t size, PlanishMistakes *mistakes)
{
  Reading reading = {.mistakes = mistakes, .text = text, .size = size};
  if (!yaml_parser_initialize(&reading.parser)) {
    planish_mistake_memory(mistakes);
    return NULL;
  }
  yaml_parser_set_input_string(&reading.parser, (const unsigned char *)text, size);
  PlanishNode *root = read_documents(&reading);
  yaml_parser_delete(&reading.parser);
  if (root == NULL && mistakes->count == 0 && !reading.broken) {
    planish_mistake(mistakes, 1, 1, "an empty %s: begin with \"%s\"", name_of(&reading),
                    planish_mistakes_kind(mistakes)->begin);
  }
  if (reading.broken) {
    if (mistakes->count == 0) {
      planish_mistake_memory(mistakes);
    }
    planish_sheet_tree_free(root);
    root = NULL;
  }
  return root;
}

void planish_sheet_tree_free(PlanishNode *node)
{
  while (node != NULL) {
    PlanishNode *next = node->next;
    planish_sheet_tree_free(node->key);
    planish_sheet_tree_free(node->first);
    free(node->text);
    free(node);
    node = next;
  }
}

static bool copy_members(PlanishNode *to, const PlanishNode *from)
{
  PlanishNode **place = &to->first;
  for (const PlanishNode *node = from->first; node != NULL; node = node->next) {
    *place = planish_sheet_tree_copy(node);
    if (*place == NULL) {
      return false;
    }
    place = &(*place)->next;
  }
  return true;
}

PlanishNode *planish_sheet_tree_copy(const PlanishNode *node)
{
  PlanishNode *copy = malloc(sizeof *copy);
  if (copy == NULL) {
    return NULL;
  }
  *copy = *node;
  copy->next = copy->first = NULL;
  copy->key = node->key == NULL ? NULL : planish_sheet_tree_copy(node->key);
  copy->text = node->text == NULL ? NULL : planish_text_copy(node->text);
  if ((copy->key == NULL) != (node->key == NULL) || (copy->text == NULL) != (node->text == NULL) ||
      !copy_members(copy, node)) {
    planish_sheet_tree_free(copy);
    return NULL;
  }
  return copy;
}
