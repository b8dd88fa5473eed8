#include "harness/sheet/sheet.h"

#include "harness/base/text.h"
#include "harness/sheet/sheet_value.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define LENGTH(array) (sizeof(array) / sizeof *(array))

enum { LONGEST_PREROLL = 600, GAIN_LIMIT = 60 };

typedef struct {
  PlanishSheet *sheet;
  PlanishHost *host;
  PlanishMistakes *mistakes;
  bool audition;
  bool stages_left_out; /* for mistakes in them */
} Reading;

typedef bool (*ReadMember)(Reading *reading, const PlanishNode *node);

typedef struct {
  const char *key;
  ReadMember read;
} Member;

/* Hands the members of a map to their readers. */
static void read_map(Reading *reading, const PlanishNode *map, const char *where,
                     const Member *members, size_t count)
{
  const char *keys[16];
  for (size_t n = 0; n < count; ++n) {
    keys[n] = members[n].key;
  }
  if (map->bad) {
    return;
  }
  if (map->kind != PLANISH_NODE_MAP) {
    planish_mistake(reading->mistakes, map->line, map->column,
                    "%s: no map: write keys and values, such as {%s: ...}", where, keys[0]);
    return;
  }
  for (const PlanishNode *node = map->first; node != NULL; node = node->next) {
    size_t n = 0;
    if (node->key->kind != PLANISH_NODE_SCALAR || node->key->bad) {
      continue;
    }
    while (n < count && strcmp(keys[n], node->key->text) != 0) {
      n += 1;
    }
    if (n == count) {
      planish_sheet_unknown_key(node->key, keys, count, where, reading->mistakes);
    } else {
      members[n].read(reading, node);
    }
  }
}

static bool read_format(Reading *reading, const PlanishNode *node)
{
  double format = 0.0;
  if (!node->bad && (node->kind != PLANISH_NODE_SCALAR || node->quoted ||
                     !planish_text_number(node->text, &format) || format != PLANISH_SHEET_FORMAT)) {
    return planish_mistake(reading->mistakes, node->line, node->column,
                           "planish: an unknown format of sheet: this program reads %d",
                           PLANISH_SHEET_FORMAT);
  }
  return true;
}

static bool read_one_input(Reading *reading, const PlanishNode *node, PlanishInputKind kind)
{
  if (node->bad) {
    return false;
  }
  if (reading->sheet->input != PLANISH_INPUT_AS_IT_IS) {
    return planish_mistake(reading->mistakes, node->key->line, node->key->column,
                           "input: gain and loudness exclude each other: keep one");
  }
  reading->sheet->input = kind;
  return kind == PLANISH_INPUT_GAIN
             ? planish_sheet_number(node, "gain", -GAIN_LIMIT, GAIN_LIMIT, "dB",
                                    &reading->sheet->input_value, reading->mistakes)
             : planish_sheet_number(node, "loudness", PLANISH_SHEET_QUIETEST, PLANISH_SHEET_LOUDEST,
                                    "LUFS", &reading->sheet->input_value, reading->mistakes);
}

static bool read_input_gain(Reading *reading, const PlanishNode *node)
{
  return read_one_input(reading, node, PLANISH_INPUT_GAIN);
}

static bool read_input_loudness(Reading *reading, const PlanishNode *node)
{
  return read_one_input(reading, node, PLANISH_INPUT_LOUDNESS);
}

static bool read_input(Reading *reading, const PlanishNode *node)
{
  static const Member members[] = {{"gain", read_input_gain}, {"loudness", read_input_loudness}};
  read_map(reading, node, "input", members, LENGTH(members));
  return true;
}

static bool read_rate(Reading *reading, const PlanishNode *node)
{
  return planish_mistake(reading->mistakes, node->key->line, node->key->column,
                         "rate: this version does not convert: remove it, and convert the mix "
                         "first");
}

static bool read_preroll(Reading *reading, const PlanishNode *node)
{
  reading->sheet->has_preroll = true;
  return planish_sheet_number(node, "preroll", 0, LONGEST_PREROLL, "s", &reading->sheet->preroll,
                              reading->mistakes);
}

static bool read_loudness(Reading *reading, const PlanishNode *node)
{
  reading->sheet->has_loudness = true;
  return planish_sheet_number(node, "loudness", PLANISH_SHEET_QUIETEST, PLANISH_SHEET_LOUDEST,
                              "LUFS", &reading->sheet->loudness, reading->mistakes);
}

static bool read_ceiling(Reading *reading, const PlanishNode *node)
{
  reading->sheet->has_ceiling = true;
  return planish_sheet_number(node, "ceiling", PLANISH_SHEET_LOWEST_CEILING, 0, "dBTP",
                              &reading->sheet->ceiling, reading->mistakes);
}

static bool read_control(Reading *reading, const PlanishNode *node, PlanishControl *control)
{
  if (node->bad) {
    return false;
  }
  if (node->kind != PLANISH_NODE_SCALAR) {
    return planish_mistake(reading->mistakes, node->line, node->column,
                           "no control: give NAME.SYMBOL, a stage's name and a control's symbol");
  }
  PlanishError error = {0};
  if (!planish_sheet_control(reading->sheet, node->text, control, &error)) {
    /* It may name a stage that was left out for a mistake of its own. */
    const bool excused = reading->stages_left_out && strchr(node->text, '.') != NULL &&
                         planish_sheet_stage_of(reading->sheet, node->text) < 0;
    return !excused &&
           planish_mistake(reading->mistakes, node->line, node->column, "%s", error.text);
  }
  const PlanishSheetStage *stage = &reading->sheet->stages[control->stage];
  return planish_sheet_can_land(&stage->plugin->ports[control->port], node->text, &error) ||
         planish_mistake(reading->mistakes, node->line, node->column, "%s", error.text);
}

static bool read_by(Reading *reading, const PlanishNode *node)
{
  reading->sheet->has_by = read_control(reading, node, &reading->sheet->by);
  return reading->sheet->has_by;
}

static bool read_ceiling_at(Reading *reading, const PlanishNode *list)
{
  if (list->bad) {
    return false;
  }
  if (list->kind != PLANISH_NODE_LIST) {
    return planish_mistake(reading->mistakes, list->line, list->column,
                           "ceiling_at: no list: write [NAME.SYMBOL, ...]");
  }
  PlanishSheet *sheet = reading->sheet;
  size_t count = 0;
  for (const PlanishNode *node = list->first; node != NULL; node = node->next) {
    count += 1;
  }
  free(sheet->ceiling_at);
  sheet->ceiling_at = calloc(count + 1, sizeof *sheet->ceiling_at);
  sheet->ceiling_count = 0;
  if (sheet->ceiling_at == NULL) {
    return planish_mistake_memory(reading->mistakes);
  }
  for (const PlanishNode *node = list->first; node != NULL; node = node->next) {
    if (read_control(reading, node, &sheet->ceiling_at[sheet->ceiling_count])) {
      sheet->ceiling_count += 1;
    }
  }
  return true;
}

static bool read_target(Reading *reading, const PlanishNode *node)
{
  static const Member members[] = {{"loudness", read_loudness},
                                   {"ceiling", read_ceiling},
                                   {"by", read_by},
                                   {"ceiling_at", read_ceiling_at}};
  read_map(reading, node, "target", members, LENGTH(members));
  for (uint32_t n = 0; reading->sheet->has_by && n < reading->sheet->ceiling_count; ++n) {
    const PlanishControl *control = &reading->sheet->ceiling_at[n];
    if (control->stage == reading->sheet->by.stage && control->port == reading->sheet->by.port) {
      planish_mistake(reading->mistakes, node->line, node->column,
                      "target: by and ceiling_at name the same control: loudness and ceiling each "
                      "need their own");
    }
  }
  if (reading->sheet->has_loudness && !reading->sheet->has_by && reading->mistakes->count == 0) {
    planish_mistake(reading->mistakes, node->line, node->column,
                    "target: a loudness without a control to reach it: add \"by: NAME.SYMBOL\"");
  }
  return true;
}

/* The target names stages, so it is read after them. */
static bool read_later(Reading *reading, const PlanishNode *node)
{
  (void)reading;
  (void)node;
  return true;
}

static bool read_stages(Reading *reading, const PlanishNode *node)
{
  reading->stages_left_out = !planish_sheet_stages(reading->sheet, node, reading->host,
                                                   reading->audition, reading->mistakes);
  return true;
}

/* Controls that hold the ceiling and are not named stand at the target's. */
static void lower_ceilings(Reading *reading, const PlanishNode *root)
{
  PlanishSheet *sheet = reading->sheet;
  for (uint32_t n = 0; sheet->has_ceiling && n < sheet->ceiling_count; ++n) {
    const PlanishControl *control = &sheet->ceiling_at[n];
    PlanishSheetStage *stage = &sheet->stages[control->stage];
    const PlanishPluginPort *port = &stage->plugin->ports[control->port];
    const float ceiling = (float)sheet->ceiling;
    if (stage->given[control->port]) {
      continue;
    }
    if (ceiling < port->minimum || ceiling > port->maximum) {
      planish_mistake(reading->mistakes, root->line, root->column,
                      "target: ceiling %g is out of the range of %s.%s: give %g to %g",
                      sheet->ceiling, stage->name, port->symbol, (double)port->minimum,
                      (double)port->maximum);
      continue;
    }
    stage->values[control->port] = ceiling;
  }
}

static void read_root(Reading *reading, const PlanishNode *root)
{
  static const Member members[] = {{"planish", read_format}, {"input", read_input},
                                   {"rate", read_rate},      {"preroll", read_preroll},
                                   {"target", read_later},   {"stages", read_stages}};
  const PlanishNode *first = root->kind == PLANISH_NODE_MAP ? root->first : NULL;
  if (first == NULL || first->key->kind != PLANISH_NODE_SCALAR ||
      strcmp(first->key->text, "planish") != 0) {
    planish_mistake(reading->mistakes, root->line, root->column,
                    "no sheet of this program: it must begin with \"planish: %d\"",
                    PLANISH_SHEET_FORMAT);
  }
  if (root->kind != PLANISH_NODE_MAP) {
    return;
  }
  read_map(reading, root, "the sheet", members, LENGTH(members));
  bool has_stages = false;
  for (const PlanishNode *node = root->first; node != NULL; node = node->next) {
    const char *key = node->key->kind == PLANISH_NODE_SCALAR ? node->key->text : "";
    has_stages = has_stages || strcmp(key, "stages") == 0;
    if (strcmp(key, "target") == 0 && !node->bad) {
      read_target(reading, node);
      lower_ceilings(reading, node);
    }
  }
  if (!has_stages) {
    planish_mistake(reading->mistakes, root->line, root->column,
                    "no stages: add \"stages:\" and a list of them");
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
    Reading reading = {.sheet = sheet, .host = host, .mistakes = mistakes, .audition = audition};
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
  if (file < 0 || fstat(file, &facts) != 0) {
    planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s", strerror(errno));
  } else if (!S_ISREG(facts.st_mode)) {
    planish_fail(error, PLANISH_BAD_USE, "no sheet: not a plain file");
  } else if (facts.st_size > PLANISH_SHEET_BYTES) {
    planish_fail(error, PLANISH_BAD_USE, "no sheet: longer than 1 MB");
  } else {
    text = malloc((size_t)facts.st_size + 1);
    *size = 0;
    ssize_t got = text == NULL ? -1 : 1;
    while (got > 0 && *size < (size_t)facts.st_size) {
      got = read(file, text + *size, (size_t)facts.st_size - *size);
      *size += got > 0 ? (size_t)got : 0;
    }
    if (got < 0) {
      planish_fail(error, PLANISH_BAD_FILE, "cannot read: %s", strerror(errno));
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
    planish_mistake(mistakes, 0, 0, "%s", error.text);
    mistakes->list[0].outcome = error.outcome;
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
    free(sheet->stages[n].name);
    free(sheet->stages[n].preset);
    free(sheet->stages[n].values);
    free(sheet->stages[n].given);
  }
  for (uint32_t n = 0; n < sheet->automation_count; ++n) {
    free(sheet->automation[n].points);
  }
  free(sheet->automation);
  free(sheet->stages);
  free(sheet->ceiling_at);
  free(sheet);
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
